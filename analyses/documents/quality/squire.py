"""SQUIRE 2.0: where the quality report answers each item, and what only its authors can add.

Items in our own words after Ogrinc and others 2016, BMJ Quality & Safety 25:986.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from analyses.content.blocks import Cell, Section, Table

if TYPE_CHECKING:
    from analyses.documents.quality.quality_work import QualityWork

AUTHOR = "to be added by the authors"
WORDS_FILE = "the words file has no such words: to be added"


def squire_section(work: QualityWork) -> Section:
    """The checklist filled in from what the report really contains."""
    rows = tuple((Cell(str(number), heading=True), Cell(item), Cell(where))
                 for number, (item, where) in enumerate(_items(work), start=1))
    return Section("SQUIRE 2.0", (Table(
        "squire", "SQUIRE 2.0 items and where this report answers them",
        ("No", "Item", "Where"), rows,
        ("After Ogrinc and others 2016, BMJ Quality & Safety 25:986, in our own words.",)),))


def _items(work: QualityWork) -> tuple[tuple[str, str], ...]:
    words = work.project
    charts = "Is harm more or less frequent?" if work.analysis else work.problem
    named = "Measures" if words else "Measures (the usual ones; no words file was given)"
    changed = "Aim" if words and words.changes else WORDS_FILE
    before = "Before and after" if work.analysis and work.analysis.series else (
        "Measures, before and since the change" if words and words.changes else AUTHOR)
    return (
        ("Title says that it is about improving care", "title" if words else AUTHOR),
        ("Summary", AUTHOR),
        ("The problem and how large it is", "Measures" if words else AUTHOR),
        ("What is known already", AUTHOR),
        ("Why the change was expected to work",
         "Aim, reasons of the changes" if words and any(c.why for c in words.changes) else AUTHOR),
        ("Specific aim", "Aim" if words else WORDS_FILE),
        ("Context", "Aim" if words and words.context else WORDS_FILE),
        ("The changes, so that others could repeat them", changed),
        ("How the effect of the changes was studied", before),
        ("Measures, with their definitions and how complete the data are",
         f"{named}; What was not recorded"),
        ("Analysis, and variation over time", f"{charts}; The charts in full"),
        ("Ethics", f"{AUTHOR}; who was left out: Who was counted"),
        ("Results: course of the changes, measures, context, missing data",
         f"{charts}; Practice limits; What was not recorded"),
        ("Summary of the results", AUTHOR),
        ("Interpretation beside the work of others", AUTHOR),
        ("Limits of the work", "The charts in full; Before these numbers are used"),
        ("Conclusions", AUTHOR), ("Funding", AUTHOR),
    )
