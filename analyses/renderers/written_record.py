"""What a report's folder was written with, so that what a person has edited since is seen and kept.

A file `.written.json` in the folder names every file that was written into it, with its SHA-256.
It holds no data. A file whose bytes are no longer those is a person's; so is one that the record
does not name.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path

RECORD = ".written.json"
BESIDE = "new"
"""What the name of a file written beside an edited one has in it: `conference-new.pptx`."""


def hash_of(path: Path) -> str:
    """SHA-256 of a file's bytes, in hexadecimal."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def read_record(folder: Path) -> dict[str, str]:
    """File (path inside the folder) → SHA-256 as it was written; empty where there is no record.

    A record that cannot be read names nothing: every file is then taken for a person's.
    """
    try:
        found = json.loads((folder / RECORD).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return {str(k): str(v) for k, v in found.items()} if isinstance(found, dict) else {}


def record_text(record: Mapping[str, str]) -> str:
    """The record as text, the same byte for byte for the same files."""
    return json.dumps(dict(sorted(record.items())), ensure_ascii=False, indent=1) + "\n"


def place_for(folder: Path, name: str, content: str, record: Mapping[str, str]) -> str:
    """Where a file goes: its own name, or one beside it where a person's file has that name.

    name: its path inside the folder; content: the SHA-256 of what is to be written.
    """
    number, place = 0, name
    while not _is_ours(folder / place, record.get(place), content):
        number += 1
        place = _beside(name, number)
    return place


def _is_ours(path: Path, written: str | None, content: str) -> bool:
    """Whether nothing of a person's is lost by writing at this path."""
    if not path.exists():
        return True
    return path.is_file() and hash_of(path) in (written, content)


def _beside(name: str, number: int) -> str:
    path = Path(name)
    more = BESIDE if number == 1 else f"{BESIDE}-{number}"
    return path.with_name(f"{path.stem}-{more}{path.suffix}").as_posix()
