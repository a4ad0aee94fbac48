"""One small fictional service, worked out once for all checks of the documents."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest

from analyses.content.blocks import Document
from analyses.documents.series.series_report import (
    SeriesWork,
    manuscript_document,
    series_document,
    series_work,
)
from analyses.measures.results import Results, work_out
from analyses.population.unit_frames import units_of
from analyses.renderers.docx_document import write_docx
from analyses.renderers.html_page import page
from analyses.renderers.report_folder import results_text
from analyses.statistics.estimate import Estimate
from synthetic_cohort import make_cohort

MANIFEST = {
    "purpose": "research", "date": "2024-06-01", "freeze_hash": "0123456789abcdef" * 4,
    "left_out": {"errors": {"patients": 2, "with_death_or_complication": 1}},
    "software": {"python": "3.11"},
}
PATIENTS, SEED = 40, 3


@dataclass(frozen=True)
class Series:
    """The case series of one service: its work, its documents, and what was written of them."""

    work: SeriesWork
    inside: Document
    outside: Document
    docx: Path
    page: str
    results_json: str

    @property
    def entries(self) -> list[dict[str, Any]]:
        return json.loads(self.results_json)["estimates"]


def all_results(work: SeriesWork) -> Results:
    """The results with the numbers of the models and of the planning."""
    extra: tuple[Estimate, ...] = work.estimates
    return replace(work.results, estimates=(*work.results.estimates, *extra))


@pytest.fixture(scope="session")
def small_service() -> dict[str, Any]:
    return make_cohort(PATIENTS, SEED).tables


@pytest.fixture(scope="session")
def series(small_service: dict[str, Any], tmp_path_factory: pytest.TempPathFactory) -> Series:
    work = series_work(work_out(units_of(small_service, manifest=MANIFEST)))
    inside, outside = series_document(work), manuscript_document(work)
    path = tmp_path_factory.mktemp("series") / "case-series.docx"
    write_docx(outside, path)
    return Series(work, inside, outside, path, page(inside), results_text(all_results(work)))
