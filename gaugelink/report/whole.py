"""Write files that appear whole or not at all."""

from __future__ import annotations

import os
from contextlib import suppress
from typing import TYPE_CHECKING

from gaugelink.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path


def write_whole(content: bytes, path: Path) -> None:
    """Write a file beside its place and move it there once its bytes are on disk.

    An older file of that name is replaced.

    Raises:
        InputError: the file cannot be written there; the sentence says why.
    """
    write_all([(content, path)])


def write_all(files: Sequence[tuple[bytes, Path]]) -> None:
    """Write files that belong together: where one cannot be written, none appears.

    All bytes are on disk before the first file is moved to its place. Only a move that fails (a
    file that is open in another program, on Windows) can leave those before it.

    Raises:
        InputError: one cannot be written; the sentence names it and says why.
    """
    ready: list[tuple[Path, Path]] = []
    at: Path | None = None
    try:
        for content, path in files:
            at = path
            if path.is_dir():
                raise IsADirectoryError(21, "it is a folder")
            beside = path.with_name(f".{path.name}.{os.getpid()}.part")
            ready.append((beside, path))
            with beside.open("wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
        for beside, at in ready:
            beside.replace(at)
    except OSError as fault:
        for beside, _ in ready:
            with suppress(OSError):  # what failed before may well fail for the remains too
                beside.unlink(missing_ok=True)
        raise InputError(
            f"cannot be written here ({fault.strerror or 'no reason given'}); give the name of a "
            "file in a folder that exists and can be written to, and close it in other programs",
            file=str(at),
        ) from None
