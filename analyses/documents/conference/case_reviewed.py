"""What readers and earlier conferences held, in the words of the slides where it belongs."""

from __future__ import annotations

from typing import Any

import pandas as pd

from analyses.cases.case_reviews import conferences_of, readers_of
from analyses.cases.one_case import OneCase
from analyses.content.blocks import Block, Cell, Table
from analyses.statistics.table_rows import rows_of
from registry.schema import ConferenceReviews, EventReviews

CAUSES = {
    EventReviews.cause_embolization: "embolization", EventReviews.cause_resection: "resection",
    EventReviews.cause_radiosurgery: "radiosurgery",
    EventReviews.cause_natural_history: "natural history"}
FACTOR_OF = {
    "Patient": ConferenceReviews.factor_patient, "Lesion": ConferenceReviews.factor_anatomy,
    "Technique": ConferenceReviews.factor_technique,
    "Equipment": ConferenceReviews.factor_equipment,
    "Team": ConferenceReviews.factor_communication,
    "Organisation": ConferenceReviews.factor_organisation}
"""The branch of the discussion → the field of an earlier conference that answers it."""


def told_before(case: OneCase) -> tuple[Block, ...]:
    """What an earlier conference added to the plan and to what happened."""
    rows = tuple((Cell("As told at an earlier conference", heading=True),
                  Cell(_text(row[ConferenceReviews.planned])),
                  Cell(_text(row[ConferenceReviews.happened])))
                 for row in rows_of(conferences_of(case))
                 if _text(row[ConferenceReviews.planned]) or _text(row[ConferenceReviews.happened]))
    return (Table("planned-told", "Added by hand", ("", "Planned", "Happened"), rows),
            ) if rows else ()


def factor_found(case: OneCase, branch: str) -> str:
    """What an earlier conference held of a branch: contributed, did not, or nothing."""
    held = [row[FACTOR_OF[branch]] for row in rows_of(conferences_of(case))]
    known = [bool(value) for value in held if not pd.isna(value)]
    if not known:
        return ""
    return "contributed (earlier conference)" if known[0] else "did not (earlier conference)"


def readers_rows(case: OneCase) -> tuple[tuple[str, str], ...]:
    """A line a reader, without codes: what they held of preventability, cause and severity."""
    return tuple((f"Reader {number}{_blinded(row)}", _held(row))
                 for number, row in enumerate(rows_of(readers_of(case)), start=1))


def agreed_rows(case: OneCase) -> tuple[tuple[str, str], ...]:
    """What each earlier conference agreed on, a line each: preventability, what was learnt."""
    found = []
    for row in rows_of(conferences_of(case)):
        parts = (("preventable", _text(row[ConferenceReviews.preventable])),
                 ("learnt", _text(row[ConferenceReviews.learning_points])))
        said = "; ".join(f"{name}: {text}" for name, text in parts if text)
        found += [("Earlier conference", said)] if said else []
    return tuple(found)


def _held(row: dict[str, Any]) -> str:
    causes = [f"{name} {row[field]}" for field, name in CAUSES.items()
              if not pd.isna(row[field]) and row[field] != "no"]
    parts = (("preventable", row[EventReviews.preventable]),
             ("cause", ", ".join(causes) or pd.NA), ("severity", row[EventReviews.severity]))
    return "; ".join(f"{name}: {value}" for name, value in parts if not pd.isna(value)) or (
        "nothing recorded")


def _blinded(row: dict[str, Any]) -> str:
    value = row[EventReviews.blinded]
    return "" if pd.isna(value) else " (blinded)" if bool(value) else " (not blinded)"


def _text(value: Any) -> str:
    return "" if value is None or pd.isna(value) else str(value)
