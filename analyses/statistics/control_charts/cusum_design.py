"""What a CUSUM of this service can promise: false alarms, delay, and how sure that is."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from analyses.statistics.arrays import Floats
from analyses.statistics.control_charts.chart_arrays import risks
from analyses.statistics.control_charts.run_length import (
    average_run_length,
    common_shift,
    cusum_limit,
    doubled_risk,
    signal_probability,
)
from analyses.statistics.estimate import Estimate
from analyses.words.estimate_text import plural

METHOD = "Markov chain (Brook and Evans 1972) over this service's risk mix"


@dataclass(frozen=True)
class CusumDesign:
    """A CUSUM with its limit and its run lengths, all for this service's risk mix.

    in_control: average trials to a false alarm. at_ends: the same if the true risks were those
    at the lower and the upper end of the baseline's observed/expected interval, empty where it
    has none. delay and delay_months: the
    average wait for a signal once the risk is changed as `change` says. within_year: the chance
    of a signal within 12 months of that change; false_within_year: of a false one.
    """

    odds_ratio: float
    limit: float
    change: str
    in_control: Estimate
    at_ends: tuple[Estimate, ...]
    delay: Estimate
    delay_months: Estimate
    within_year: Estimate
    false_within_year: Estimate

    @property
    def estimates(self) -> tuple[Estimate, ...]:
        """All of its numbers."""
        return (self.in_control, *self.at_ends, self.delay, self.delay_months, self.within_year,
                self.false_within_year)


def design_cusum(
    expected: Iterable[Any],
    *,
    odds_ratio: float,
    run_length: float,
    baseline: Estimate,
    volume_a_month: float,
    unit: str = "trial",
) -> CusumDesign:
    """Find the limit for the wanted in-control run length, and what follows from it.

    expected: risks of the case mix; run_length: trials; baseline: observed/expected of the
    baseline with its interval; volume_a_month: trials, above 0; unit: what a
    trial is called. For odds_ratio above 1 the change
    looked for is a doubled risk, below 1 a halved one. Raises ValueError.
    """
    mix = risks(list(expected))
    if not volume_a_month > 0:
        raise ValueError(f"volume_a_month is {volume_a_month!r}; above 0 is wanted")
    worse = odds_ratio > 1
    limit = cusum_limit(mix, odds_ratio=odds_ratio, run_length=run_length)
    changed = doubled_risk(mix, 2.0 if worse else 0.5)
    delay = average_run_length(mix, odds_ratio=odds_ratio, limit=limit, shift=changed)
    year = max(1, round(12 * volume_a_month))
    side, many = "worse" if worse else "better", plural(unit)

    def estimate(name: str, kind: str, value: float, measure: str = "") -> Estimate:
        return Estimate(id=f"monitoring.cusum_{side}.{name}", kind=kind, value=value,
                        method=METHOD, unit=unit, measure=measure)

    return CusumDesign(
        odds_ratio, limit, "a doubled risk" if worse else "a halved risk",
        estimate("run_length", "average run length",
                 average_run_length(mix, odds_ratio=odds_ratio, limit=limit), many),
        tuple(estimate(f"run_length_at_{end}", "average run length", value, many)
              for end, value in _ends(mix, odds_ratio, limit, baseline)),
        estimate("delay", "detection delay", delay, many),
        estimate("delay_months", "detection delay", delay / volume_a_month, "months"),
        estimate("signal_within_year", "probability", signal_probability(
            mix, odds_ratio=odds_ratio, limit=limit, trials=year, shift=changed)),
        estimate("false_signal_within_year", "probability", signal_probability(
            mix, odds_ratio=odds_ratio, limit=limit, trials=year)),
    )


def _ends(
    mix: Floats, odds_ratio: float, limit: float, baseline: Estimate,
) -> list[tuple[str, float]]:
    """The run lengths at the lower and upper end of the baseline's interval, if it has one."""
    if not baseline.low or baseline.high is None:
        return []
    # A mean risk cannot pass 1, whatever the interval says.
    ratios = baseline.low, min(baseline.high, 0.95 / float(mix.mean()))
    return [(end, average_run_length(mix, odds_ratio=odds_ratio, limit=limit,
                                     shift=common_shift(mix, ratio)))
            for end, ratio in zip(("low", "high"), ratios, strict=True)]
