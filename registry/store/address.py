"""Where a registry is: a SQLite file by its path, or PostgreSQL by its URL."""

from __future__ import annotations

import os
import stat
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import URL, make_url
from sqlalchemy.exc import ArgumentError

from registry.store.store_error import RegistryError

SQLITE_HEADER = b"SQLite format 3\x00"
POSTGRESQL = ("postgresql", "postgres", "postgresql+psycopg")


@dataclass(frozen=True)
class Address:
    """A registry's place: `path` for a SQLite file, None for a server; `url` for the driver."""

    url: URL
    path: Path | None

    def __str__(self) -> str:
        """The place as it may be shown: never with a password."""
        return str(self.path) if self.path else self.url.render_as_string(hide_password=True)


def address_of(place: str | Path) -> Address:
    """Read a path or URL.

    Raises RegistryError where it is neither a path nor a SQLite or PostgreSQL URL.
    """
    text = str(place)
    if not text.strip():
        raise RegistryError("The registry's place is blank; give a path such as registry.sqlite.")
    if "://" not in text:
        return _file(Path(text))
    try:
        url = make_url(text)
    except (ArgumentError, ValueError) as fault:
        raise RegistryError(
            "The registry's URL cannot be read; give a path, or a URL such as "
            "postgresql://user@host/database."
        ) from fault
    if url.drivername == "sqlite":
        if not url.database:
            raise RegistryError("The URL names no file; give a path such as registry.sqlite.")
        return _file(Path(url.database))
    if url.drivername in POSTGRESQL:
        return Address(url.set(drivername="postgresql+psycopg"), None)
    raise RegistryError(
        f"A registry is a SQLite file or a PostgreSQL database, not {url.drivername}; give a "
        "path, or a URL such as postgresql://user@host/database."
    )


def _file(path: Path) -> Address:
    path = path.expanduser().absolute()
    return Address(URL.create("sqlite", database=str(path)), path)


def writable(path: Path) -> bool:
    """Whether a file or folder may be written.

    The permission bits count too: the super-user may write anything, but a file that was made
    read-only was made so on purpose.
    """
    bits = stat.S_IWUSR | stat.S_IWGRP | stat.S_IWOTH
    return bool(path.stat().st_mode & bits) and os.access(path, os.W_OK)


def check_file(path: Path) -> None:
    """Refuse, in a sentence, a path at which a registry can be neither opened nor made.

    Raises RegistryError.
    """
    try:
        _check_place(path)
        if path.exists():
            _check_content(path)
    except OSError as fault:
        raise RegistryError(
            f"{path} cannot be looked at ({fault.strerror}); give another path."
        ) from fault


def _check_place(path: Path) -> None:
    folder = path.parent
    if path.is_dir():
        raise RegistryError(
            f"{path} is a folder; give the path of a registry file, such as "
            f"{path / 'registry.sqlite'}."
        )
    if not folder.is_dir():
        raise RegistryError(
            f"The folder {folder} does not exist; make it first, or give another path."
        )
    if not writable(folder):
        raise RegistryError(
            f"The folder {folder} is read-only; a registry must be in a folder that may be "
            "written. Give another path, or ask for the right to write there."
        )


def _check_content(path: Path) -> None:
    if not path.is_file():
        raise RegistryError(f"{path} is not an ordinary file; give the path of a registry file.")
    if not writable(path):
        raise RegistryError(
            f"{path} is read-only; make it writable, or work on a copy of it."
        )
    with path.open("rb") as file:
        start = file.read(len(SQLITE_HEADER))
    if not start:
        raise RegistryError(
            f"{path} is an empty file, not a registry; delete it or give another name, and a new "
            "registry will be made."
        )
    if start != SQLITE_HEADER:
        raise RegistryError(
            f"{path} is not a registry (it is not a database); nothing was written. Give the "
            "path of a registry file, or a name that does not exist yet."
        )
