"""Made-up procedures of a fictional service, one row each, for the monitoring checks."""

from __future__ import annotations

import numpy as np
import pandas as pd


def procedures(
    count: int, *, seed: int, worse_from: int | None = None, a_month: float = 5.0
) -> pd.DataFrame:
    """Procedures in order of time; from number `worse_from` on the odds are 2.2 times higher."""
    rng = np.random.default_rng(seed)
    days = np.sort(rng.uniform(0, count / a_month * 30.44, count)).astype(int)
    frame = pd.DataFrame({
        "patient_id": [f"AV-{k:04d}" for k in rng.integers(0, max(1, count // 2), count)],
        "procedure_key": [f"P{k:05d}" for k in range(count)],
        "session_date": pd.Timestamp("2019-01-01") + pd.to_timedelta(days, unit="D"),
        "operator_id": rng.choice(["OP01", "OP02", "OP03", "OP04"], count,
                                  p=[0.45, 0.33, 0.20, 0.02]),
        "sm_grade": rng.integers(1, 6, count), "ruptured": rng.random(count) < 0.4,
    })
    frame["case_number"] = frame.groupby("operator_id").cumcount()
    logit = -4 + 0.4 * frame["sm_grade"] + 0.4 * frame["ruptured"]
    if worse_from is not None:
        logit = logit + np.log(2.2) * (np.arange(count) >= worse_from)
    frame["complication"] = rng.random(count) < 1 / (1 + np.exp(-logit))
    return frame
