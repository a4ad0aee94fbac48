"""A pooled interval of the default plan covers the truth where a third of the exposure is missing.

What is missing depends on the outcome and on the grade, so that the complete rows alone are biased
in the share of events though hardly in the ratio. A simulation; run whole:
`python tests/analyses/regression/test_imputed_coverage.py 400`.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit

# The project before tests/, in which a folder has the same name as the package.
sys.path[:0] = [str(Path(__file__).resolve().parents[depth]) for depth in (3, 2)]
from clustered_data import Cell, as_frame, draw  # noqa: E402

from analyses.statistics.regression.imputed_fit import fit_imputed  # noqa: E402
from analyses.statistics.regression.terms import Term  # noqa: E402

TERMS = (Term(("exposure",)), Term(("sm_grade",)), Term(("ruptured",)), Term(("case_number",)))
CELLS = (Cell(120, 0.10, 2.0, 0.2, "continuous session"),
         Cell(120, 0.10, 2.0, 0.2, "binary session"),
         Cell(120, 0.10, 1.0, 0.2, "binary patient"))


def with_gaps(data: pd.DataFrame, generator: np.random.Generator) -> pd.DataFrame:
    """A third of the exposure blank, more often in graver lesions and without the event."""
    chance = expit(-0.6 + 0.3 * data["sm_grade"] - 0.5 * data["event"])
    return data.assign(exposure=data["exposure"].mask(generator.random(len(data)) < chance))


def coverage(cell: Cell, sets: int, times: int = 10) -> tuple[float, float, float, int]:
    """Coverage, median bias (log odds ratio) and share missing; and how many sets were answered."""
    generator = np.random.default_rng(11)
    truth, inside, values, missing = np.log(cell.odds_ratio), [], [], []
    for place in range(sets):
        data = with_gaps(as_frame(*draw(cell, generator)), generator)
        try:
            line = fit_imputed(data, "event", TERMS, cluster="patient_id", times=times,
                               seed=place).table.loc["exposure"]
        except ValueError:  # under 8 events: said, not answered
            continue
        inside.append(line["low"] <= truth <= line["high"])
        values.append(line["estimate"] - truth)
        missing.append(data["exposure"].isna().mean())
    return float(np.mean(inside)), float(np.median(values)), float(np.mean(missing)), len(inside)


@pytest.mark.slow
def test_the_pooled_interval_covers_with_a_third_missing() -> None:
    share, bias, missing, sets = coverage(CELLS[0], sets=120, times=5)
    assert sets > 100 and 0.25 < missing < 0.45
    assert share >= 0.94 - 3 * np.sqrt(0.05 * 0.95 / sets) and abs(bias) < 0.15


if __name__ == "__main__":
    for one in CELLS:
        share, bias, missing, sets = coverage(one, int((sys.argv[1:] or ["400"])[0]))
        print(f"{one.exposure:20s} odds ratio {one.odds_ratio:g}, {100 * missing:.0f} % missing: "
              f"{100 * share:.1f} % of {sets} sets, median bias {bias:+.2f}", flush=True)
