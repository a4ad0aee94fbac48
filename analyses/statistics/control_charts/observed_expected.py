"""Observed against expected: the ratio with its interval, the running difference, calibration.

Sources: variable life-adjusted display, Lovegrove and others 1997, Lancet 350:1128; exact Poisson
interval, Garwood 1936, widened where patients repeat (Ulm 1990, Am J Epidemiol 131:373).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from analyses.statistics.arrays import Labels
from analyses.statistics.control_charts.chart_arrays import events, risks, same_length
from analyses.statistics.estimate import Estimate, replaced

if TYPE_CHECKING:
    import pandas as pd

KIND = "observed/expected ratio"
RATIO_METHOD = "observed over expected, {}"


def observed_expected_ratio(
    event: Iterable[Any], expected: Iterable[Any], cluster: Sequence[Any] | Labels, *,
    level: float = 0.95, id: str = "monitoring.observed_expected", unit: str = "",
    group: Mapping[str, str] | None = None, keys: Sequence[Any] | None = None,
) -> Estimate:
    """Observed over expected events, with an interval that respects the patient.

    event: 0 or 1, one a trial; expected: its risk; cluster: its patient. The expected sum is
    taken as known: where it was itself estimated from few events the interval says only how far
    these observations may stray from it. Raises ValueError.
    """
    from analyses.statistics.rates.rates import clustered_rate

    observed, p = events(list(event)), risks(list(expected))
    same_length(event=observed, expected=p, cluster=list(cluster))
    rate = clustered_rate(observed, p, list(cluster), per=1, level=level, id=id, keys=keys)
    return replaced(rate, kind=KIND, unit=unit, group=group, per=None, n=observed.size,
                    method=RATIO_METHOD.format(rate.method), measure="")


def observed_minus_expected(
    event: Iterable[Any], expected: Iterable[Any], *, labels: Sequence[Any] | None = None
) -> pd.DataFrame:
    """Running sum of observed minus expected events: above 0 is more events than expected.

    event: 0 or 1; expected: risks. Columns: label, observed and expected (running sums),
    difference, low and high (where the difference would lie at this one trial in 95 % of
    services whose risks are as expected; it is looked at again and again, so it is not a test:
    the CUSUM is). Raises ValueError.
    """
    import pandas as pd

    observed, p = events(list(event)), risks(list(expected))
    same_length(event=observed, expected=p)
    reach = 1.959963984540054 * np.sqrt(np.cumsum(p * (1 - p)))
    return pd.DataFrame({
        "label": list(labels) if labels is not None else range(1, p.size + 1),
        "observed": np.cumsum(observed), "expected": np.cumsum(p),
        "difference": np.cumsum(observed - p), "low": -reach, "high": reach,
    })


def calibration(
    event: Iterable[Any], expected: Iterable[Any], cluster: Sequence[Any] | Labels, *,
    groups: int = 4, unit: str = "",
) -> list[Estimate]:
    """Observed over expected in groups of rising expected risk, about equal in expected events.

    Returns one ratio a group, its group naming the range of risks. Trials of equal risk stay
    together, so there may be fewer groups than asked for. Raises ValueError.
    """
    observed, p = events(list(event)), risks(list(expected))
    patient = np.asarray(list(cluster), dtype=object)
    same_length(event=observed, expected=p, cluster=patient)
    distinct, place = np.unique(p, return_inverse=True)
    share = np.cumsum(np.bincount(place, weights=p)) / p.sum()
    number = np.minimum((share - 1e-12) * groups, groups - 1).astype(int)[place]
    found = []
    for group in np.unique(number):
        rows = number == group
        low, high = 100 * p[rows].min(), 100 * p[rows].max()
        name = f"{low:.1f} %" if low == high else f"{low:.1f}–{high:.1f} %"
        found.append(observed_expected_ratio(
            observed[rows], p[rows], patient[rows], id="monitoring.calibration", unit=unit,
            group={"expected risk": name}))
    return found
