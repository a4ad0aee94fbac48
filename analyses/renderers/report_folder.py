"""Writing a report's folder: everything beside first, then moved in, or nothing at all.

What a person has edited since it was written is never replaced.
"""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from analyses.measures.results import Results
from analyses.measures.results_record import records
from analyses.population.exclusions import STUDY
from analyses.renderers.results_schema import RESULTS_VERSION
from analyses.renderers.written_record import (
    RECORD,
    hash_of,
    place_for,
    read_record,
    record_text,
)
from registry.problems.sentence_error import SentenceError

Writer = Callable[[Path], object]
"""Writes a file at a path; nobody looks at what it returns."""


class ReportError(SentenceError):
    """A report could not be written; the message is a sentence for the user."""


def results_record(results: Results) -> dict[str, Any]:
    """The content of `results.json` as plain data (see `results_schema`).

    It names no study code, so that it may leave the service; small cells are those of `results`.
    """
    manifest = results.manifest
    # The freeze's hash is of its content, and its versions are those it was made with: nothing
    # here depends on the machine that works the results out.
    keys = ("freeze_hash", "purpose", "date", "schema_version", "schema_hash", "software")
    return {
        "results_version": RESULTS_VERSION,
        "freeze": {key: manifest[key] for key in keys if key in manifest},
        **({STUDY: manifest[STUDY]} if STUDY in manifest else {}),
        **({"small_cells": results.hidden.as_record()} if results.hidden else {}),
        "estimates": records(results.estimates),
    }


def results_text(results: Results, first: str = "") -> str:
    """`results.json` as text, the same byte for byte for the same freeze.

    first: words for the first line of a file that stays inside the service.
    """
    record = {**({"stays_inside": first} if first else {}), **results_record(results)}
    return json.dumps(record, ensure_ascii=False, indent=1) + "\n"


def write_folder(out: Path, writers: Mapping[str, Writer]) -> dict[str, str]:
    """Write each file (name → writer) into `out`, all or none; returns name → where it went.

    Files go into a folder beside `out` first; only when all are written do they replace those of
    the same name. A file that was changed since it was written, or that this program never wrote,
    stays as it is: the new one is put beside it (`kept_words` says so). Raises ReportError with
    a sentence where `out` cannot be written; it is then as it was.
    """
    if out.exists() and not out.is_dir():
        raise ReportError(f"{out} is a file; a report needs a folder. Give another --out.")
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        beside = Path(tempfile.mkdtemp(prefix=".report-", dir=out.parent))
    except OSError as error:
        raise ReportError(f"{out} cannot be written: {error.strerror}.") from error
    try:
        _write_all(beside / NEW, writers)
        return _move_all(beside, out, list(writers))
    finally:
        shutil.rmtree(beside, ignore_errors=True)


def kept_words(out: Path, places: Mapping[str, str]) -> tuple[str, ...]:
    """A sentence for each file of a person that stayed, from what `write_folder` returned."""
    return tuple(
        f"{out / name} was changed since it was written, or put there by somebody: it stays as it "
        f"is, and the new one is {place}." for name, place in places.items() if place != name)


NEW, OLDER = "new", "older"


def _write_all(folder: Path, writers: Mapping[str, Writer]) -> None:
    for name, writer in writers.items():
        target = folder / name
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
            writer(target)
        except OSError as error:
            raise ReportError(f"{name} cannot be written ({error.strerror}); the folder of the "
                              "report is as it was.") from error


def _move_all(beside: Path, out: Path, names: list[str]) -> dict[str, str]:
    """Move every file into `out`, or put everything back; returns name → where it went."""
    folders: list[Path] = []
    moved: list[str] = []
    at = out
    try:
        places = _places(beside / NEW, out, names)
        folders = _missing_folders(out, places.values())
        for folder in folders:
            folder.mkdir()
        for name, place in places.items():
            at = out / place
            _take_away(at, beside / OLDER / place)
            moved.append(place)
            (beside / NEW / name).replace(at)
    except OSError as error:
        _put_back(beside / OLDER, out, moved, folders)
        raise ReportError(
            f"{at} cannot be written ({error.strerror}): is it open in another program, or not "
            "yours to change? The folder is as it was; mend it and run the command again."
        ) from error
    return places


def _places(new: Path, out: Path, names: list[str]) -> dict[str, str]:
    """Where each new file goes in `out`, the record of them among them."""
    record, places = read_record(out), {}
    for name in names:
        content = hash_of(new / name)
        places[name] = place_for(out, name, content, record)
        record[places[name]] = content
    (new / RECORD).write_text(record_text(record), encoding="utf-8", newline="\n")
    return {**places, RECORD: RECORD}


def _missing_folders(out: Path, places: Iterable[str]) -> list[Path]:
    """The folders to be made, outer ones first."""
    wanted = {folder for place in places for folder in (out / place).parents
              if folder == out or out in folder.parents}
    return sorted(folder for folder in wanted if not folder.exists())


def _take_away(path: Path, kept: Path) -> None:
    """Move a file out of the way, to be put back should anything fail."""
    if path.exists():
        kept.parent.mkdir(parents=True, exist_ok=True)
        path.replace(kept)


def _put_back(older: Path, out: Path, moved: Iterable[str], folders: list[Path]) -> None:
    """Undo what was moved: new files and folders go, older files come back."""
    for place in moved:
        if (out / place).is_file():
            (out / place).unlink()
    for path in sorted(older.rglob("*")):
        if path.is_file():
            path.replace(out / path.relative_to(older))
    for folder in reversed(folders):
        if folder.exists():
            folder.rmdir()


def text_writer(text: str) -> Writer:
    """A writer of a text file in UTF-8 with plain line ends."""
    return lambda path: path.write_bytes(text.encode("utf-8"))
