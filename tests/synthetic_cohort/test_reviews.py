"""What the fictional service looked at again is what a registry would take."""

from __future__ import annotations

import pandas as pd
import pytest

from analyses.cases.readers_agree import FEWEST_EVENTS, readers_agree
from registry.privacy.free_text import points_to_person
from registry.rules import check_rules
from registry.schema import TABLES
from synthetic_cohort import CohortSettings, make_cohort
from synthetic_cohort.reviews_tables import reviews_tables

COHORT = make_cohort(150, 3, CohortSettings.demo())
REVIEWS = reviews_tables(COHORT)


def test_the_rules_ask_nothing_of_it():
    for name, frame in REVIEWS.items():
        TABLES[name].checks.validate(frame, lazy=True)
    found = check_rules({**COHORT.tables, **REVIEWS})
    assert [finding for finding in found if finding.table in REVIEWS] == []
    free = [(name, field.name) for name in REVIEWS for field in TABLES[name].fields if field.free]
    words = [word for name, field in free for word in REVIEWS[name][field].dropna()]
    assert words and not any(map(points_to_person, words))


def test_two_readers_saw_every_event_and_agree_as_far_as_they_were_made_to():
    reviews = REVIEWS["event_reviews"]
    preventable = next(one for one in readers_agree(reviews) if one.question == "Preventable")
    assert preventable.alike.n * 2 == len(reviews) >= 2 * FEWEST_EVENTS
    # right with 0.8, else one of three: alike in (0.8 + 0.2/3)² + 2 (0.2/3)² = 0.76
    assert preventable.alike.low < 0.76 < preventable.alike.high
    assert preventable.ac1.low > 0.3


def test_the_gravest_were_discussed_and_one_action_is_open():
    reviewed = REVIEWS["conference_reviews"]
    assert len(reviewed) and reviewed["event_no"].notna().all()
    assert REVIEWS["actions"]["state"].tolist() == ["done", "open"]


@pytest.mark.parametrize("patients", [1, 2])
def test_a_service_of_a_patient_or_two(patients):
    tables = reviews_tables(make_cohort(patients, 1))
    assert tables["actions"]["state"].tolist() == ["open"]
    assert all(isinstance(frame, pd.DataFrame) for frame in tables.values())
