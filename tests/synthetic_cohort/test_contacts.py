"""The fictional service calls those it has not seen for long, and gives some of them up."""

from __future__ import annotations

import pandas as pd

from registry.quality.follow_up_list import follow_up_list
from registry.schema import TABLES
from synthetic_cohort import make_cohort
from synthetic_cohort.contacts_tables import UNSEEN_FOR, contacts_tables


def test_some_are_lost_after_the_services_own_rule_and_the_dead_are_not_called() -> None:
    cohort = make_cohort(60, 3)
    tables = {**cohort.tables, **contacts_tables(cohort)}
    last = tables["contacts"]["contact_date"].max()
    listed = follow_up_list(tables, today=last.date())
    assert {"lost", "to be called"} <= set(listed["state"])
    unseen = listed.loc[listed["tries"] > 0, "last_seen"]
    assert len(unseen) and (unseen < last + pd.Timedelta(days=45) - UNSEEN_FOR).all()
    died = tables["patients"].set_index("patient_id")["death_date"].dropna()
    assert not tables["contacts"]["patient_id"].isin(died.index).any()
    assert list(tables["contacts"].columns) == [f.name for f in TABLES["contacts"].fields]


def test_the_same_service_makes_the_same_tries() -> None:
    one, two = (contacts_tables(make_cohort(30, 3))["contacts"] for _ in range(2))
    pd.testing.assert_frame_equal(one, two)
