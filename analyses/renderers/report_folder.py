"""Writing a report's folder: everything beside first, then renamed, so the old one stays whole."""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from analyses.measures.results import Results
from analyses.measures.results_record import records
from analyses.measures.small_cells import for_outside
from analyses.population.exclusions import STUDY
from analyses.renderers.results_schema import RESULTS_VERSION
from registry.problems.sentence_error import SentenceError

Writer = Callable[[Path], object]
"""Writes a file at a path; nobody looks at what it returns."""


class ReportError(SentenceError):
    """A report could not be written; the message is a sentence for the user."""


def results_record(results: Results) -> dict[str, Any]:
    """The content of `results.json` as plain data (see `results_schema`).

    It may leave the service: small cells of characteristics are held back.
    """
    manifest = results.manifest
    # The freeze's hash is of its content, and its versions are those it was made with: nothing
    # here depends on the machine that works the results out.
    keys = ("freeze_hash", "purpose", "date", "schema_version", "schema_hash", "software")
    return {
        "results_version": RESULTS_VERSION,
        "freeze": {key: manifest[key] for key in keys if key in manifest},
        **({STUDY: manifest[STUDY]} if STUDY in manifest else {}),
        "estimates": records(for_outside(results.estimates)),
    }


def results_text(results: Results, first: str = "") -> str:
    """`results.json` as text, the same byte for byte for the same freeze.

    first: words for the first line of a file that stays inside the service.
    """
    record = {**({"stays_inside": first} if first else {}), **results_record(results)}
    return json.dumps(record, ensure_ascii=False, indent=1) + "\n"


def write_folder(out: Path, writers: Mapping[str, Writer]) -> None:
    """Write each file (name → writer) into `out`, all or none.

    Files go into a folder beside `out` first; only when all are written do they replace those of
    the same name. Raises ReportError with a sentence where `out` cannot be written.
    """
    if out.exists() and not out.is_dir():
        raise ReportError(f"{out} is a file; a report needs a folder. Give another --out.")
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        beside = Path(tempfile.mkdtemp(prefix=".report-", dir=out.parent))
    except OSError as error:
        raise ReportError(f"{out} cannot be written: {error.strerror}.") from error
    try:
        for name, writer in writers.items():
            target = beside / name
            target.parent.mkdir(parents=True, exist_ok=True)
            writer(target)
        _move_all(beside, out)
    finally:
        shutil.rmtree(beside, ignore_errors=True)


def _move_all(beside: Path, out: Path) -> None:
    out.mkdir(exist_ok=True)
    for path in sorted(beside.rglob("*")):
        target = out / path.relative_to(beside)
        if path.is_dir():
            target.mkdir(exist_ok=True)
        else:
            path.replace(target)


def text_writer(text: str) -> Writer:
    """A writer of a text file in UTF-8 with plain line ends."""
    return lambda path: path.write_bytes(text.encode("utf-8"))
