"""The key that signs heads: an Ed25519 private key in a file of its own, away from the record.

Whoever copies a record must not get the key with it, so the key's place is the user's settings
folder and never the folder of the store unless somebody says so.
"""

from __future__ import annotations

import os
import sys
from hashlib import sha256
from pathlib import Path
from typing import Final

from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
    load_pem_private_key,
)

from gaugelink.errors import RecordError
from gaugelink.record import disk

KEY_FILE: Final = "record-key.pem"


def default_home() -> Path:
    """Give the folder of GaugeLink's own settings.

    It is the environment variable ``GAUGELINK_HOME``; else ``gaugelink`` in the user's settings
    folder: ``%APPDATA%`` on Windows, ``~/Library/Application Support`` on macOS,
    ``$XDG_CONFIG_HOME`` or ``~/.config`` elsewhere. Nothing is created.
    """
    if stated := os.environ.get("GAUGELINK_HOME"):
        return Path(stated)
    return disk.settings_folder(os.environ, Path.home(), sys.platform) / "gaugelink"


def default_key_path() -> Path:
    """Give the place of the key where nobody says otherwise: `KEY_FILE` in `default_home`."""
    return default_home() / KEY_FILE


def public_bytes(key: Ed25519PrivateKey) -> bytes:
    """Give the 32 bytes of the public key that belongs to a private one."""
    return key.public_key().public_bytes(Encoding.Raw, PublicFormat.Raw)


def fingerprint(public: bytes) -> str:
    """Shorten a public key to what two people can read to each other.

    It is the first half of the SHA-256 of the 32 key bytes, in eight groups of four digits.

    >>> fingerprint(bytes(32))
    '6668 7aad f862 bd77 6c8f c18b 8e9f 8e20'
    """
    digits = sha256(public).hexdigest()[:32]
    return " ".join(digits[place : place + 4] for place in range(0, 32, 4))


def load_key(path: Path) -> Ed25519PrivateKey:
    """Read a private key from a PEM file (PKCS #8, without a passphrase).

    Raises:
        RecordError: no such file, not readable, readable by others, not such a key.
    """
    try:
        data = path.read_bytes()
        open_to_others = disk.others_may_read(path)
    except OSError as fault:
        raise RecordError(f"{path}: the key cannot be read: {fault.strerror}") from None
    if open_to_others:
        raise RecordError(
            f"{path}: other users may read this key, so it vouches for nothing; accepted: a file"
            " that only its owner may read (chmod 600)"
        )
    try:
        key = load_pem_private_key(data, password=None)
    except TypeError:
        raise RecordError(
            f"{path}: found a key with a passphrase, accepted: an Ed25519 key without one"
        ) from None
    except (ValueError, UnsupportedAlgorithm):
        raise RecordError(
            f"{path}: found no private key, accepted: an Ed25519 key in PEM form (PKCS #8)"
        ) from None
    if not isinstance(key, Ed25519PrivateKey):
        raise RecordError(f"{path}: found a key of another kind, accepted: an Ed25519 key")
    return key


def load_or_create_key(path: Path) -> Ed25519PrivateKey:
    """Read the private key at a path, or make one there if there is none.

    A new key is on the disk, whole and readable by its owner only, before this returns. Where two
    programs make the key at once, both get the one that came first.

    Raises:
        RecordError: as `load_key`, or the folder cannot be written.
    """
    if path.exists():
        return load_key(path)
    key = Ed25519PrivateKey.generate()
    pem = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        disk.write_private(path, pem)
    except FileExistsError:
        if path.exists():
            return load_key(path)
        raise RecordError(f"{path}: a part of this path is a file, not a folder") from None
    except OSError as fault:
        raise RecordError(f"{path}: no key can be written here: {fault.strerror}") from None
    return key
