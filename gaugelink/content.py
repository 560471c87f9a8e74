"""Find the content that ships beside the code: drivers, scenarios, dashboards, hardware notes.

In a wheel they lie in ``gaugelink/_shipped/``; in an editable install they are the top-level
folders of the source tree. A user's own folder, named by the environment variable
``GAUGELINK_CONTENT``, is looked at first, so that a shop adds a gauge by adding a file
(``$GAUGELINK_CONTENT/drivers/my-gauge.toml``) and can override one that ships.
"""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import Final

from gaugelink.errors import InputError

KINDS: Final = (
    *("drivers", "sim", "sim/sheets", "sim/bench", "sim/prices"),
    *("dashboards", "hardware_notes"),
)
_PACKAGE = Path(__file__).resolve().parent
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_\-]*")


def folders(kind: str) -> list[Path]:
    """Give the folders that hold this kind of content, the user's own first.

    Args:
        kind: one of `KINDS`.
    """
    assert kind in KINDS
    shipped = _PACKAGE / "_shipped" / kind
    candidates = [shipped if shipped.is_dir() else _PACKAGE.parent / kind]
    if own := os.environ.get("GAUGELINK_CONTENT"):
        candidates.insert(0, Path(own) / kind)
    return [folder for folder in candidates if folder.is_dir()]


def names(kind: str) -> list[str]:
    """List the names of the TOML files of a kind, sorted, without their ending."""
    return sorted({path.stem for folder in folders(kind) for path in folder.glob("*.toml")})


def read(kind: str, name: str) -> tuple[str, str]:
    """Read a content file by its name, or a file of the user's by its path.

    Returns:
        The text, and the file's path for use in messages.

    Raises:
        InputError: no such name; the sentence lists the names there are.
    """
    if _NAME.fullmatch(name):
        for folder in folders(kind):
            path = folder / f"{name}.toml"
            if path.is_file():
                return read_text(path), str(path)
    elif name.endswith(".toml"):
        return read_text(Path(name)), name
    known = ", ".join(names(kind)) or "none are installed"
    raise InputError(f"found {name!r}, accepted: {known}, or the path of a .toml file", field=kind)


def read_text(path: Path) -> str:
    """Read a UTF-8 text file of the user's.

    Raises:
        InputError: it cannot be read, or is not UTF-8 text.
    """
    try:
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as fault:
        raise InputError(f"not UTF-8 text (byte {fault.start})", file=str(path)) from None
    except OSError as fault:
        raise InputError(f"cannot be read ({fault.strerror})", file=str(path)) from None
