"""Which chart fits how often the event happens, and why.

Sources: for the p chart's sample size, Montgomery's chapter on attributes charts (enough units
that an event is likely in each period, np of 3 and more, and p + 3·sigma meaningful); for rare
events Benneyan 2001. The cut of 5 expected events a period is common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analyses.words.estimate_text import plural

ENOUGH_A_PERIOD = 5.0
FEWEST_PERIODS = 12
FEWEST_GAPS = 8
PERIODS = (("month", 1), ("quarter", 3), ("half-year", 6))


@dataclass(frozen=True)
class ChartChoice:
    """The chart for an event, the period of its points, and the reasons in words.

    kind: "p", "g" or "none"; period: "month", "quarter", "half-year", or "event". why: sentences.
    limits_from: the number of points the limits would rest on.
    """

    kind: str
    period: str
    why: tuple[str, ...]
    limits_from: int


def choose_chart(
    events: int, trials: int, months: float, *, unit: str = "trial",
) -> ChartChoice:
    """Choose between a p chart by month, quarter or half-year, a g chart, and no chart yet.

    events: trials with the event; trials: all; months: the length of the period; unit: what a
    trial is called in the reasons. A p chart is chosen for the shortest period with 5 expected
    events and at least 12 such periods; else a g chart from 8 events on.

    Raises ValueError for numbers that do not fit.
    """
    many = plural(unit)
    if trials < 1 or not 0 <= events <= trials or not months > 0:
        raise ValueError(
            f"{events} events in {trials} {many} over {months:g} months: events cannot exceed "
            f"{many}, and both the {many} and the time must be above 0"
        )
    rate, volume = events / trials, trials / months
    for name, length in PERIODS:
        periods = int(np.floor(months / length))
        if rate * volume * length >= ENOUGH_A_PERIOD and periods >= FEWEST_PERIODS:
            return ChartChoice("p", name, _why_p(rate, volume, name, length, many), periods)
    if events >= FEWEST_GAPS:
        return ChartChoice("g", "event", _why_g(events, rate, volume, months, unit), events)
    return ChartChoice("none", "event", _why_none(events, trials, many), events)


def _why_p(
    rate: float, volume: float, name: str, length: int, many: str,
) -> tuple[str, ...]:
    return (
        f"At {100 * rate:.1f} % and {volume:.1f} {many} a month a {name} holds about "
        f"{rate * volume * length:.1f} events: enough for proportions by {name}.",
        "The upper limit can show a rise; the lower limit a fall only where it is above 0.",
    )


def _why_g(
    events: int, rate: float, volume: float, months: float, unit: str,
) -> tuple[str, ...]:
    return (
        f"At {100 * rate:.1f} % and {volume:.1f} {plural(unit)} a month a quarter holds about "
        f"{rate * volume * 3:.1f} events: proportions by period would be mostly 0, with limits "
        "that mean little.",
        f"The {events} gaps between events over {months:.0f} months use every {unit} instead.",
        "A g chart shows improvement (a long gap) well and deterioration poorly; the "
        "risk-adjusted CUSUM is the chart for deterioration.",
    )


def _why_none(events: int, trials: int, many: str) -> tuple[str, ...]:
    return (
        f"{events} events in {trials} {many} are too few to set limits from: "
        f"at least {FEWEST_GAPS} are wanted.",
        "Show the events one by one with their review, and the exact interval of the proportion; "
        "no signal is not evidence of safety.",
    )
