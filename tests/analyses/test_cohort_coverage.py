"""The clustered interval covers the synthetic cohort's own truth (see coverage_cohort.py).

No cell may lie under 94 % by more than three Monte Carlo standard errors; the method's own floor
near 93.9 %, at 300 patients, a risk of 1 % and a correlation of 0.3, lies inside that.
"""

import coverage_cohort
import pytest


@pytest.mark.slow
def test_the_clustered_interval_covers_the_cohorts_truth_in_every_cell(capsys):
    found = coverage_cohort.cells(60_000)
    with capsys.disabled():
        print(f"\n{coverage_cohort.as_markdown(found)}")
    short = [c for c in found if c.clustered < c.floor]
    assert not short, coverage_cohort.as_markdown(short)
