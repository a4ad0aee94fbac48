"""The table of charts on services of known truth, at a size that fits."""

from __future__ import annotations

import pytest
from monitoring_truth import HEAD, RUN_LENGTH, as_markdown, from_zero, truth_table


@pytest.mark.slow
def test_charts_are_compared_at_equal_run_length_and_the_cusum_leads() -> None:
    table = truth_table(3000)
    print("\n" + as_markdown(table))
    set_alike = table[~table[HEAD].str.contains("rule fixed")]
    off = (set_alike["run length"] - RUN_LENGTH).abs()
    assert (off < 4 * set_alike["run length SE"]).all()
    cusum = table.iloc[0]
    # Equal false alarms, more found: a doubled risk is missed least by the CUSUM …
    assert cusum["detected by 300 %"] >= set_alike["detected by 300 %"].max() - 1
    assert cusum["median delay"] <= set_alike["median delay"].min() + 3
    # … and its mean delay is no longer than the exact one from a sum of zero, as sums are often
    # above zero when the change comes.
    assert cusum["mean delay of detected"] < from_zero()
    short_gaps = table[table[HEAD].str.startswith("g chart")].iloc[0]
    assert short_gaps["detected by 300 %"] < cusum["detected by 300 %"] - 15
