"""The secret key of a service: a file outside the registry that only its owner may read."""

from __future__ import annotations

import os
import secrets
import stat
from pathlib import Path

from registry.problems.sentence_error import SentenceError

KEY_BYTES = 32
_OTHERS = stat.S_IRWXG | stat.S_IRWXO


class KeyFileError(SentenceError):
    """The key cannot be used; the message is a whole sentence and never shows the key."""


def open_key(path: str | Path, *, make: bool = False) -> bytes | None:
    """The key in a file: 32 random bytes, written as 64 hexadecimal digits.

    Where there is no file yet, one is made (mode 0600) with `make`, and None is given without.
    Raises KeyFileError where others may read the file, or it does not hold a key.
    """
    path = Path(path)
    if not path.exists():
        return _make(path) if make else None
    check_private(path)
    try:
        key = bytes.fromhex(path.read_text(encoding="ascii").strip())
    except (OSError, ValueError, UnicodeDecodeError):
        raise KeyFileError(
            f"{path.name} does not hold a key (64 hexadecimal digits). Give the service's own key "
            "file; with another key the same patient would get another study code."
        ) from None
    if len(key) != KEY_BYTES:
        raise KeyFileError(f"{path.name} holds a key of the wrong length; restore it from a copy.")
    return key


def check_private(path: Path) -> None:
    """Raise KeyFileError where anybody but the owner may use the file (POSIX systems)."""
    if os.name == "posix" and path.stat().st_mode & _OTHERS:
        raise KeyFileError(
            f"{path.name} may be read by others; take their rights away first (chmod 600 "
            f"{path.name}). Whoever has the key can find out whose a study code is."
        )


def write_private(path: Path, text: str) -> None:
    """Write a file that only its owner may read, whole or not at all. Raises KeyFileError."""
    part = path.with_name(f".{path.name}.part")
    try:
        part.unlink(missing_ok=True)
        handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(text)
        os.replace(part, path)
    except OSError as fault:
        part.unlink(missing_ok=True)
        raise KeyFileError(
            f"{path.name} cannot be written to {path.parent.name or path.parent}; give a folder "
            "that may be written to."
        ) from fault


def _make(path: Path) -> bytes:
    key = secrets.token_bytes(KEY_BYTES)
    write_private(path, key.hex() + "\n")
    return key
