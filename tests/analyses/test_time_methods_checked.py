"""Every estimate on haemorrhage, time and complications in detail uses a method checked outside.

The method is named on the estimate itself; each has recorded values of a reference library or a
published example, run again in CI.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from reference_runs import FOLDER

from analyses.measures.declared import estimates_of
from analyses.population.unit_frames import units_of
from analyses.statistics.estimate import Estimate
from synthetic_cohort import make_cohort

CHECKED = {
    "exact Poisson": "rates",                     # R poisson.test
    "exact conditional": "rates",                 # R poisson.test for two rates
    "Aalen–Johansen": "competing_risks",          # R cmprsk and survival
    "difference of two Aalen–Johansen": "competing_risks",
    "Aalen–Johansen weighted for loss": "timetoevent",  # a script on R's coxph
    "description of the sample": "medians",       # R quantile
    "Kaplan–Meier": "timetoevent",                # R survival, log-log
    "reverse Kaplan–Meier": "timetoevent",        # R survival
    "area under the Kaplan–Meier": "timetoevent",  # R survival's rmean
    "difference in restricted mean": "timetoevent",
    "Clopper–Pearson": "proportions",             # R binom.test
    "Korn–Graubard": "clustered",                 # R survey
    "exact": "proportions",
}


PUBLISHED = {"Turnbull": "test_timetoevent_loss_and_intervals.py"}
"""Turnbull's estimate: the breast cosmesis data of Finkelstein and Wolfe 1985, typed there."""


@pytest.fixture(scope="module")
def estimates() -> list[Estimate]:
    units = units_of(make_cohort(200, 6).tables)
    topics = ("complications in detail", "haemorrhage", "over time", "groups over time")
    return [e for topic in topics for e in estimates_of(topic, units)]


def test_every_method_has_recorded_reference_values(estimates: list[Estimate]) -> None:
    unknown = {e.method for e in estimates if e.value is not None
               and not any(e.method.startswith(known) for known in (*CHECKED, *PUBLISHED))}
    assert not unknown
    for name in PUBLISHED.values():
        assert (Path(__file__).parent / name).is_file()
    for name in set(CHECKED.values()):
        assert (FOLDER / f"{name}.R").is_file() and (FOLDER / f"{name}.json").is_file()


def test_every_number_has_an_interval_or_says_why(estimates: list[Estimate]) -> None:
    bare = {e.id for e in estimates
            if e.value is not None and e.low is None and not e.flags
            and e.method != "description of the sample"}
    assert not bare
