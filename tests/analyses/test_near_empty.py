"""A service that has just begun: tables without rows are worked out like any others.

Warnings from our own lines fail the suite (pyproject.toml): pandas warns where it has to guess
the type of a table without rows.
"""

from __future__ import annotations

import datetime as dt

import pytest
from registry_cases import without_rows
from small_cohort import small_tables

from analyses.measures.results import work_out
from analyses.population.unit_frames import units_of
from registry.quality.follow_up import follow_up_of

BELOW_LESIONS = (
    "injections", "complications", "resections", "radiosurgeries", "follow_ups", "haemorrhages",
)


def emptied(*names):
    tables = small_tables()
    for name in names:
        tables = without_rows(tables, name)
    return tables


@pytest.mark.parametrize("names", [*((n,) for n in BELOW_LESIONS), BELOW_LESIONS], ids="+".join)
def test_tables_without_rows_are_worked_out(names):
    tables = emptied(*names)
    assert work_out(units_of(tables, manifest={})).one("complication.any", "session").n == 12
    found = follow_up_of(tables, today=dt.date(2022, 1, 1))
    assert set(found["patient_id"]) <= set(tables["patients"]["patient_id"]) and len(found)
