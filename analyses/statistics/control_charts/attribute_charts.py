"""p and u charts: proportions and rates by period, plain and with Laney's correction.

Sources: Shewhart's three-sigma limits as in Montgomery, Introduction to Statistical Quality
Control, chapter on attributes charts, and the NIST/SEMATECH e-Handbook, 6.3.3; Laney 2002,
Quality Engineering 14:531, for the correction of overdispersion.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from analyses.statistics.arrays import Floats, Whole
from analyses.statistics.control_charts.chart import Chart, Limits, chart_table, in_stages
from analyses.statistics.control_charts.chart_arrays import counts, numbers, same_length

SIGMAS = 3.0
# Mean moving range of two standard normal values: 2/sqrt(pi).
MEAN_RANGE = 2.0 / np.sqrt(np.pi)
ABOVE = "above the upper limit"
BELOW = "below the lower limit"
MEASURED = {"p": "proportion with an event", "u": "events per unit of exposure"}

Widening = Callable[[Floats, Floats, float], float]
"""Events and exposure of the periods that set the limits, and the variance of one unit."""


@dataclass(frozen=True)
class Dispersion:
    """How much the points spread beyond what chance alone gives.

    statistic: Pearson's, on `degrees` degrees of freedom; p its upper tail; sigma_z: Laney's
    factor from moving ranges of the standardised points. excess: both say more than chance.
    """

    statistic: float
    degrees: int
    p: float
    sigma_z: float

    @property
    def excess(self) -> bool:
        """Whether limits that ignore the extra spread would alarm too often."""
        return self.p < 0.05 and self.sigma_z > 1.0


def p_chart(
    events: Iterable[Any],
    trials: Iterable[Any],
    *,
    labels: Sequence[Any] | None = None,
    stage: Sequence[Any] | None = None,
    baseline: Iterable[Any] | None = None,
) -> Chart:
    """p chart: the share with an event in each period, limits by each period's own size.

    events, trials: whole numbers, one pair a period, periods without a trial left out.
    baseline: True for the periods that set the limits (all of a stage unless said). Limits are
    centre ± 3·sqrt(p(1 − p)/n), cut at 0 and 1. Raises ValueError for counts that do not fit.
    """
    found, size = _pairs(events, trials, "trials", whole=True)
    chart = _chart("p", found, size, _as_chance, "p chart, three-sigma limits (Montgomery)",
                   labels=labels, stage=stage, baseline=baseline)
    spread = dispersion(found, size, stage=stage, kind="p", baseline=baseline)
    return replace(chart, notes=_spread_note(spread))


def u_chart(
    events: Iterable[Any],
    exposure: Iterable[Any],
    *,
    labels: Sequence[Any] | None = None,
    stage: Sequence[Any] | None = None,
    baseline: Iterable[Any] | None = None,
) -> Chart:
    """u chart: events per unit of exposure in each period (several events a unit are possible).

    events: whole numbers; exposure: above 0, in the unit the rate is wanted per (units
    at risk, patient-years). Limits are centre ± 3·sqrt(u/n), cut at 0. Raises ValueError.
    """
    found, size = _pairs(events, exposure, "exposure", whole=False)
    chart = _chart("u", found, size, _as_chance, "u chart, three-sigma limits (Montgomery)",
                   labels=labels, stage=stage, baseline=baseline)
    spread = dispersion(found, size, stage=stage, kind="u", baseline=baseline)
    return replace(chart, notes=_spread_note(spread))


def laney_p_chart(
    events: Iterable[Any],
    trials: Iterable[Any],
    *,
    labels: Sequence[Any] | None = None,
    stage: Sequence[Any] | None = None,
    baseline: Iterable[Any] | None = None,
) -> Chart:
    """p chart whose limits are widened by Laney's sigma_z, the spread really seen.

    Arguments and errors as in `p_chart`. A sigma_z below 1 is used as it stands: Laney's chart
    then narrows; `p_chart` is the better choice in that case.
    """
    found, size = _pairs(events, trials, "trials", whole=True)
    return _chart("p", found, size, _sigma_z, "p chart corrected for overdispersion (Laney 2002)",
                  labels=labels, stage=stage, baseline=baseline)


def laney_u_chart(
    events: Iterable[Any],
    exposure: Iterable[Any],
    *,
    labels: Sequence[Any] | None = None,
    stage: Sequence[Any] | None = None,
    baseline: Iterable[Any] | None = None,
) -> Chart:
    """u chart with Laney's correction; arguments and errors as in `u_chart`."""
    found, size = _pairs(events, exposure, "exposure", whole=False)
    return _chart("u", found, size, _sigma_z, "u chart corrected for overdispersion (Laney 2002)",
                  labels=labels, stage=stage, baseline=baseline)


def _chart(
    kind: str, found: Floats, size: Floats, widen: Widening, method: str, *,
    labels: Sequence[Any] | None, stage: Sequence[Any] | None, baseline: Iterable[Any] | None,
) -> Chart:
    """A p or u chart whose three-sigma limits are widened by a factor of the setting periods."""

    def limits(places: Whole, setters: Whole) -> Limits:
        centre = found[setters].sum() / size[setters].sum()
        variance = _unit_variance(kind, centre)
        factor = widen(found[setters], size[setters], variance)
        half = SIGMAS * factor * np.sqrt(variance / size[places])
        upper = centre + half
        return centre, np.maximum(centre - half, 0), (
            np.minimum(upper, 1) if kind == "p" else upper)

    table = chart_table(found / size, limits, labels=labels, stage=stage, baseline=baseline,
                        above=ABOVE, below=BELOW)
    spread = dispersion(found, size, stage=stage, kind=kind, baseline=baseline)
    return Chart(kind, table.assign(events=found, trials=size), MEASURED[kind], method, (),
                 _facts(spread))


def _unit_variance(kind: str, centre: float) -> float:
    """Of one unit: binomial for a p chart, Poisson for a u chart."""
    return centre * (1 - centre) if kind == "p" else centre


def _as_chance(found: Floats, size: Floats, unit_variance: float) -> float:
    """No widening: the spread that chance alone gives."""
    return 1.0


def dispersion(
    events: Iterable[Any], exposure: Iterable[Any], *, stage: Sequence[Any] | None = None,
    kind: str = "p", baseline: Iterable[Any] | None = None,
) -> Dispersion:
    """Pearson's statistic within stages, its p value, and Laney's sigma_z.

    events, exposure, baseline: as in `p_chart` (kind "p") or `u_chart` (kind "u"); only the
    periods that set the limits are judged. Raises ValueError.
    """
    from scipy.special import chdtrc

    found, size = _pairs(events, exposure, "exposure", whole=False)
    statistic, degrees, ranges = 0.0, 0, []
    for _, places in in_stages(found.size, stage, baseline):
        centre = found[places].sum() / size[places].sum()
        unit_variance = _unit_variance(kind, centre)
        if unit_variance > 0:
            z = (found[places] / size[places] - centre) / np.sqrt(unit_variance / size[places])
            statistic += float(np.sum(z**2))
            degrees += places.size - 1
            ranges.extend(np.abs(np.diff(z)))
    sigma_z = float(np.mean(ranges) / MEAN_RANGE) if ranges else float("nan")
    p = float(chdtrc(degrees, statistic)) if degrees else float("nan")
    return Dispersion(statistic, degrees, p, sigma_z)


def _sigma_z(found: Floats, size: Floats, unit_variance: float) -> float:
    """Laney's factor: mean moving range of the standardised points over 1.128."""
    if found.size < 2 or unit_variance == 0:
        return 1.0
    centre = found.sum() / size.sum()
    z = (found / size - centre) / np.sqrt(unit_variance / size)
    return float(np.mean(np.abs(np.diff(z))) / MEAN_RANGE)


def _pairs(
    events: Iterable[Any], exposure: Iterable[Any], name: str, *, whole: bool
) -> tuple[Floats, Floats]:
    found = counts(list(events), "events")
    size = counts(list(exposure), name) if whole else numbers(list(exposure), name)
    same_length(**{"events": found, name: size})
    if (size <= 0).any():
        where = int(np.flatnonzero(size <= 0)[0]) + 1
        raise ValueError(f"{name}: entry {where} is {size[where - 1]:g}; leave empty periods out")
    if whole and (found > size).any():
        where = int(np.flatnonzero(found > size)[0]) + 1
        raise ValueError(
            f"events: entry {where} is {found[where - 1]:g} of {size[where - 1]:g}; "
            "a p chart counts units with an event, a u chart counts events"
        )
    return found, size


def _spread_note(spread: Dispersion) -> tuple[str, ...]:
    if not spread.excess:
        return ()
    return (
        f"The points spread more than chance alone gives (dispersion "
        f"{spread.statistic / spread.degrees:.2f} on {spread.degrees} degrees of freedom, "
        f"sigma z {spread.sigma_z:.2f}): these limits alarm too often. Look for a change of "
        "case mix or of counting first; the chart corrected after Laney has wider limits.",
    )


def _facts(spread: Dispersion) -> dict[str, float]:
    return {"dispersion_statistic": spread.statistic, "dispersion_degrees": spread.degrees,
            "dispersion_p": spread.p, "sigma_z": spread.sigma_z}
