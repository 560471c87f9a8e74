"""What differs between systems when a file has to be on the disk: the only place that asks which.

Windows keeps a folder's names in a journal of its own and has no way to flush a folder; elsewhere
a new name is only safe once its folder has been flushed.
"""

from __future__ import annotations

import os
import secrets
import stat
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

_WINDOWS = os.name == "nt"


def sync_folder(folder: Path) -> None:
    """Put the names in a folder on the disk; on Windows the system does so by itself.

    Raises:
        OSError: the folder cannot be opened or flushed.
    """
    if _WINDOWS:
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def sync_file(path: Path) -> None:
    """Put a closed file's bytes on the disk.

    Raises:
        OSError: the file cannot be opened for writing or flushed.
    """
    with path.open("r+b") as file:
        os.fsync(file.fileno())


def name_beside(path: Path) -> Path:
    """Make a name for a file that is not finished yet, in the folder of the finished one."""
    return path.with_name(f".{path.name}.{secrets.token_hex(4)}.new")


def put_in_place(finished: Path, path: Path) -> None:
    """Give a finished file its name, never over a file that already has it, and flush the folder.

    Raises:
        FileExistsError: the name is taken; the finished file still has its old name.
        OSError: the folder cannot be written.
    """
    if _WINDOWS:
        finished.rename(path)  # refuses by itself where the name is taken
        return
    try:
        path.hardlink_to(finished)
    except FileExistsError:
        raise
    except OSError:
        # Memory sticks with a FAT file system know no second name for a file.
        if path.exists():
            raise FileExistsError(path) from None
        finished.replace(path)
    else:
        finished.unlink()
    sync_folder(path.parent)


def write_private(path: Path, data: bytes) -> None:
    """Write a new file that only its owner may read, whole or not at all, and flush it.

    On Windows the file has the rights of its folder, which in a user's own folder are theirs.

    Raises:
        FileExistsError: the name is taken.
        OSError: the folder cannot be written.
    """
    unfinished = name_beside(path)
    flags = os.O_CREAT | os.O_EXCL | os.O_WRONLY | getattr(os, "O_BINARY", 0)
    try:
        with os.fdopen(os.open(unfinished, flags, 0o600), "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        put_in_place(unfinished, path)
    finally:
        unfinished.unlink(missing_ok=True)


def others_may_read(path: Path) -> bool:
    """Tell whether the file's mode lets anybody but its owner in; never so on Windows."""
    return not _WINDOWS and bool(path.stat().st_mode & (stat.S_IRWXG | stat.S_IRWXO))


def settings_folder(environment: Mapping[str, str], home: Path, system: str) -> Path:
    """Give the folder in which a user's programs keep their settings.

    Args:
        environment: the environment variables.
        home: the user's folder.
        system: as `sys.platform` names it.

    >>> settings_folder({}, Path("/home/ada"), "linux").as_posix()
    '/home/ada/.config'
    >>> settings_folder({}, Path("/Users/ada"), "darwin").as_posix()
    '/Users/ada/Library/Application Support'
    """
    if system == "win32":
        roaming = environment.get("APPDATA")
        return Path(roaming) if roaming else home / "AppData" / "Roaming"
    if system == "darwin":
        return home / "Library" / "Application Support"
    # An entry that is not absolute is to be ignored (XDG Base Directory Specification 0.8).
    stated = environment.get("XDG_CONFIG_HOME", "")
    return Path(stated) if stated.startswith("/") else home / ".config"
