"""One small fictional service, and its conference and quality reports, for several checks."""

from __future__ import annotations

import atexit
import json
import shutil
import tempfile
from functools import cache
from pathlib import Path
from typing import Any

from analyses.cases.case_events import case_events
from analyses.documents.report_making import Wish, conference_files, quality_files
from analyses.measures.results import Results, work_out_topics
from analyses.population.unit_frames import units_of
from analyses.renderers.report_folder import write_folder
from synthetic_cohort import CohortSettings, make_cohort
from synthetic_cohort.quality_words import quality_words

MANIFEST = {
    "purpose": "quality", "date": "2024-06-01", "freeze_hash": "0123456789abcdef" * 4,
    "left_out": {"errors": {"patients": 0, "with_death_or_complication": 0}},
}
STEPS = ("obliteration", "complications", "procedures", "technique")
"""The steps of the results that the two reports draw on."""
PATIENTS, SEED = 60, 5


def results_of(tables: dict[str, Any]) -> Results:
    """The results that a meeting's reports need, of these tables."""
    tables = {"entries": _no_entries(), **tables}
    return work_out_topics(STEPS, units_of(tables, manifest=MANIFEST))


@cache
def service() -> tuple[Results, str]:
    """The results of the service, and its words file."""
    cohort = make_cohort(PATIENTS, SEED, settings=CohortSettings.demo().but(change_at=60))
    return results_of(cohort.tables), quality_words(cohort.change_date)


@cache
def case_code() -> str:
    """The study code of the case discussed: the gravest event is one of the embolization."""
    events = case_events(service()[0].units)
    gravest = events.sort_values(["severity", "number"], ascending=[False, True]).groupby(
        "patient_id").head(1)
    return str(gravest[gravest["counted"]].iloc[0]["patient_id"])


@cache
def conference_folder() -> Path:
    """The folder of that case's conference, written once."""
    return write_conference(_thrown_away(), service()[0], case_code())


@cache
def quality_folder() -> Path:
    """The folder of the service's quality report with its words file, written once."""
    return write_quality(_thrown_away(), *service())


def _thrown_away() -> Path:
    folder = Path(tempfile.mkdtemp(prefix="meeting-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder


def write_conference(folder: Path, results: Results, code: str) -> Path:
    """The folder of the conference about a case."""
    files, _ = conference_files(results, Wish(cases=(code,)), lambda *words: None)
    write_folder(folder, files)
    return folder


def write_quality(folder: Path, results: Results, words: str | None) -> Path:
    """The folder of the quality report; words: the words file's text."""
    project = None
    if words is not None:
        folder.mkdir(parents=True, exist_ok=True)
        project = folder / "words.toml"
        project.write_text(words, encoding="utf-8")
    files, _ = quality_files(results, Wish(project=project), lambda *words: None)
    write_folder(folder, files)
    return folder


def entries_of(folder: Path, name: str = "results.json") -> list[dict[str, Any]]:
    """The entries of the folder's results."""
    return json.loads((folder / name).read_text(encoding="utf-8"))["estimates"]


def pptx_texts(path: Path, *, notes: bool = True) -> list[str]:
    """Every text of the slides: shapes, table cells, words of pictures, and speaker notes."""
    import pptx

    found = []
    for slide in pptx.Presentation(str(path)).slides:
        for shape in slide.shapes:
            found += shape_texts(shape)
        if notes and slide.has_notes_slide:
            found += slide.notes_slide.notes_text_frame.text.split("\n")
    return [text.replace("\u00a0", " ") for text in found if text]


def shape_texts(shape: Any) -> list[str]:
    """The texts of one shape, its alternative text among them."""
    texts = [p.text for p in shape.text_frame.paragraphs] if shape.has_text_frame else []
    if shape.has_table:
        texts += [cell.text for row in shape.table.rows for cell in row.cells]
    about = shape._element.xpath(".//p:cNvPr")[0]
    return [*texts, about.get("descr") or ""]


def _no_entries() -> Any:
    import pandas as pd

    return pd.DataFrame({"table": pd.Series(dtype="string"), "key": pd.Series(dtype="string"),
                         "first_entered": pd.Series(dtype="datetime64[ns]")})
