"""Favourable outcome by hand. Method: `shares`, checked against Newcombe 1998 and R survey."""

from __future__ import annotations

import pandas as pd
from registry_cases import with_cells
from small_cohort import small_tables

from analyses.measures.declared import estimates_of
from analyses.measures.favourable import favourable_lesions
from analyses.population.unit_frames import units_of

TABLES = small_tables()


def of(tables: dict[str, pd.DataFrame]) -> pd.Series:
    return favourable_lesions(units_of(tables)).set_index("key")["favourable"]


def test_obliterated_and_unharmed_by_hand() -> None:
    # Confirmed: lesions of patients 1 and 9, neither with a lasting deficit; patient 3 ongoing.
    found = estimates_of("favourable outcome", units_of(TABLES))[0]
    assert (found.events, found.n) == (2, 9)


def test_lasting_harm_from_any_treatment_is_not_favourable() -> None:
    assert not of(with_cells(TABLES, "resections", 0, deficit="permanent"))["A-0001/1"]
    assert not of(with_cells(TABLES, "complications", 6, death=True))["A-0009/1"]
    assert not of(with_cells(TABLES, "patients", 8, death_cause="treatment"))["A-0009/1"]


def test_harm_by_the_natural_course_alone_leaves_it() -> None:
    tables = with_cells(TABLES, "complications", 6, deficit="permanent", phase="follow-up",
                        cause="natural history")
    assert of(tables)["A-0009/1"]


def test_a_deficit_not_yet_known_leaves_the_denominator_only_if_obliterated() -> None:
    found = of(with_cells(TABLES, "resections", 0, deficit="not yet known"))
    assert pd.isna(found["A-0001/1"])
    # Patient 5's deficit is not yet known either, but the lesion was never imaged.
    assert found["A-0005/1"] is not pd.NA and not found["A-0005/1"]
