"""The weighted comparison covers the truth where one group is small. A simulation.

Truth: no difference, after a severity that decides who is treated and how it ends. Run whole:
`python tests/analyses/regression/test_propensity_coverage.py`.
"""

from __future__ import annotations

import sys

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit

from analyses.statistics.regression.propensity import compare_weighted, compare_weighted_level

SETTINGS = ((80, 0.87), (80, 0.5), (160, 0.9), (40, 0.7))  # rows, share treated


def drawn(rows: int, share: float, kind: str, generator: np.random.Generator) -> pd.DataFrame:
    severity, ruptured = generator.normal(size=rows), generator.random(rows) < 0.4
    treated = generator.random(rows) < expit(
        np.log(share / (1 - share)) + 0.8 * severity - 0.6 * ruptured)
    outcome = (np.exp(6 + 0.3 * severity + 0.2 * ruptured + generator.normal(0, 0.5, rows))
               if kind == "amount" else generator.random(rows) < expit(-1 + 0.6 * severity))
    return pd.DataFrame({"patient_id": np.arange(rows), "severity": severity,
                         "ruptured": ruptured, "treated": treated, "outcome": outcome})


def coverage(rows: int, share: float, kind: str, sets: int, times: int = 300) -> tuple[float, int]:
    """Share of intervals that hold no difference, and how many sets gave one."""
    generator = np.random.default_rng(5)
    compare, none = ((compare_weighted_level, 1.0) if kind == "amount" else (compare_weighted, 0.0))
    inside = []
    for place in range(sets):
        data = drawn(rows, share, kind, generator)
        try:
            found = compare(data, "outcome", "treated", ["severity", "ruptured"],
                            cluster="patient_id", times=times, seed=place).difference
        except ValueError:  # a group too small to compare: said, not answered
            continue
        inside.append(found.low <= none <= found.high)
    return float(np.mean(inside)), len(inside)


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["amount", "yes or no"])
def test_the_interval_covers_with_ten_of_eighty_in_one_group(kind: str) -> None:
    share, sets = coverage(80, 0.87, kind, sets=150, times=200)
    assert share >= 0.94 - 3 * np.sqrt(0.05 * 0.95 / sets)


if __name__ == "__main__":
    for kind in ("amount", "yes or no"):
        for rows, share in SETTINGS:
            found, sets = coverage(rows, share, kind, int((sys.argv[1:] or ["400"])[0]))
            print(f"{kind:10s} {rows:4d} rows, {share:.0%} treated: {100 * found:.1f} % of {sets}")
