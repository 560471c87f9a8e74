"""Write a file that appears whole or not at all."""

from __future__ import annotations

import os
from contextlib import suppress
from typing import TYPE_CHECKING

from gaugelink.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path


def write_whole(content: bytes, path: Path) -> None:
    """Write a file beside its place and move it there once its bytes are on disk.

    An older file of that name is replaced.

    Raises:
        InputError: the file cannot be written there; the sentence says why.
    """
    beside = path.with_name(f".{path.name}.{os.getpid()}.part") if path.name else path
    try:
        if path.is_dir():
            raise IsADirectoryError(21, "it is a folder")
        with beside.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
    except OSError as fault:
        with suppress(OSError):  # what failed before may well fail for the remains too
            if beside != path:
                beside.unlink(missing_ok=True)
        raise InputError(
            f"cannot be written here ({fault.strerror or 'no reason given'}); give the name of a "
            "file in a folder that exists and can be written to, and close it in other programs",
            file=str(path),
        ) from None
