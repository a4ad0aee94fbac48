"""The ten patients made by hand as a study, and the manifest of their freeze."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from small_cohort import small_tables

from analyses import Study, open_study
from registry.freeze.freeze_reading import Freeze
from registry.freeze.worked_out import worked_out_tables

MANIFEST = {
    "purpose": "research", "date": "2022-06-01", "freeze_hash": "0123456789abcdef" * 4,
    "left_out": {"errors": {"patients": 2, "with_death_or_complication": 1},
                 "research_use": {"patients": {"refused": 3}}},
}


def frozen() -> Freeze:
    """The ten as a freeze that was read (without grades: they are worked out on opening)."""
    entries = worked_out_tables()["entries"].empty()
    return Freeze({**small_tables(), "entries": entries}, dict(MANIFEST), Path("small"))


@cache
def study_of_ten() -> Study:
    """A study of all ten."""
    return open_study(frozen())
