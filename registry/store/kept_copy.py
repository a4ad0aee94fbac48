"""A copy of a registry's file as it was, beside it, before an older version is brought up."""

from __future__ import annotations

import os
import shutil
import sqlite3
from itertools import count
from pathlib import Path

from registry.store.store_error import RegistryError


def keep_copy(path: Path, version: int) -> Path:
    """Copy the registry at `path` beside it, named after its version; returns the copy's path.

    SQLite itself makes the copy, so that it is whole whoever reads meanwhile. A file that is there
    is never replaced. Raises RegistryError where it cannot be written.
    """
    copy = _free_name(path, version)
    part = copy.with_name(f".{copy.name}.part")
    try:
        part.unlink(missing_ok=True)
        _copied(path, part)
        shutil.copymode(path, part)
        os.replace(part, copy)
    except (OSError, sqlite3.Error) as fault:
        raise RegistryError(
            f"{path} is of an older version and cannot be copied before it is brought up "
            f"({fault}); nothing was changed. Make room beside it, then try again."
        ) from fault
    finally:
        part.unlink(missing_ok=True)
    return copy


def _free_name(path: Path, version: int) -> Path:
    for number in count(1):
        more = "" if number == 1 else f"-{number}"
        copy = path.with_name(f"{path.stem}.version-{version}{more}{path.suffix}")
        if not copy.exists():
            return copy
    raise AssertionError("there is always another number")


def _copied(path: Path, part: Path) -> None:
    whole, empty = sqlite3.connect(path), sqlite3.connect(part)
    try:
        whole.backup(empty)
    finally:
        whole.close()
        empty.close()
