"""Learning curve: how the event goes with experience, as observed and with risk allowed for.

Experience is `case_number`: how many trials the same group had done before this one. The
odds ratio for each doubling of experience is within groups (their means are held the same) and
beside calendar time, and is not given where the two cannot be told apart (`within_groups`). It
comes from a logistic model whose offset is the expected risk, so case mix is allowed for; Firth's
penalty as in Heinze and Schemper 2002, Stat Med 21:2409; variance clustered on the patient with
Mancl and DeRouen's correction (2001, Biometrics 57:126). Blocks of experience are common practice,
no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from analyses.statistics.arrays import Floats, Labels
from analyses.statistics.control_charts.chart_arrays import (
    counts,
    events,
    numbers,
    risks,
    same_length,
)
from analyses.statistics.estimate import Estimate
from analyses.statistics.regression.within_groups import (
    TOGETHER,
    own_means,
    says_nothing,
    shared_range,
    within_correlation,
)
from analyses.words.estimate_text import plural
from analyses.words.self_showing import Displayed, Summary

if TYPE_CHECKING:
    import pandas as pd

BLOCKS = (0, 10, 25, 50, 100, 200)
FEWEST_EVENTS = 10
CAUTION = (
    "Experience, calendar time and case mix grow together: a falling curve is not proof of "
    "learning, and a flat one no proof against it. {groups} are not compared here."
)


@dataclass(frozen=True)
class LearningCurve(Displayed):
    """The learning curve of all and, where asked for, the running sums of each group.

    observed: the proportion with the event by block of experience; adjusted: observed/expected
    by the same blocks; slope: odds ratio for each doubling of experience, None where it cannot
    be given (the notes say why); curve: case_number, ratio of odds to those expected, low, high,
    as far as three groups and ten trials reached (empty where nowhere);
    running: for each group, case_number and the running sums of observed and expected events
    and of their difference.
    """

    observed: tuple[Estimate, ...]
    adjusted: tuple[Estimate, ...]
    slope: Estimate | None
    curve: pd.DataFrame
    running: pd.DataFrame
    notes: tuple[str, ...]

    def summary(self) -> Summary:
        """A row a block of experience."""
        rows = tuple((", ".join((seen.group or {"": "all"}).values()), seen.number_text(),
                      adjusted.number_text())
                     for seen, adjusted in zip(self.observed, self.adjusted, strict=True))
        slope = () if self.slope is None else (
            f"For each doubling of experience: {self.slope.number_text()}.",)
        return Summary("Learning curve", ("Done before", "Observed",
                                          "Observed against expected"), rows, (*slope, *self.notes))


def learning_curve(
    case_number: Iterable[Any],
    event: Iterable[Any],
    expected: Iterable[Any],
    cluster: Sequence[Any],
    *,
    calendar: Iterable[Any],
    group: Sequence[Any] | None = None,
    unit: str = "trial",
    group_name: str = "group",
) -> LearningCurve:
    """Work out the learning curve.

    case_number: trials done before this one, whole numbers from 0; event: 0 or 1; expected: the
    trial's risk without experience in the model; cluster: the patient; calendar: when it was, in
    years; group: a code a trial; unit and group_name: what these are called. Raises ValueError.
    """
    number, y, p = counts(list(case_number), "case_number"), events(list(event)), \
        risks(list(expected))
    patient = np.asarray(list(cluster), dtype=object)
    same_length(case_number=number, event=y, expected=p, cluster=patient)
    who = np.asarray(["all"] * y.size if group is None else [str(g) for g in group], dtype=object)
    same_length(case_number=number, group=who)
    when = numbers(list(calendar), "calendar")
    same_length(case_number=number, calendar=when)
    slope, curve, notes = _slope(number, y, p, patient, _Beside(who, when), unit)
    caution = CAUTION.format(groups=plural(group_name).capitalize())
    return LearningCurve(*_blocks(number, y, p, patient, unit), slope, curve,
                         _running(number, y, p, who), (*notes, caution))


def block_names(numbers: Floats) -> list[str]:
    """The block of experience of each case number: "0–9", "10–24", … "200 and more"."""
    edges = np.searchsorted(BLOCKS, numbers, side="right") - 1
    names = [f"{a}–{b - 1}" for a, b in zip(BLOCKS[:-1], BLOCKS[1:], strict=True)]
    names.append(f"{BLOCKS[-1]} and more")
    return [names[k] for k in edges]


def _blocks(
    number: Floats, y: Floats, p: Floats, patient: Labels, unit: str,
) -> tuple[tuple[Estimate, ...], tuple[Estimate, ...]]:
    from analyses.statistics.control_charts.observed_expected import observed_expected_ratio
    from analyses.statistics.proportions.clustered import clustered_proportion

    names = np.asarray(block_names(number), dtype=object)
    order = [n for n in dict.fromkeys(block_names(np.asarray(BLOCKS, float))) if (names == n).any()]
    observed, adjusted = [], []
    for name in order:
        rows, group = names == name, {"case number": name}
        observed.append(clustered_proportion(y[rows], patient[rows], unit=unit, group=group,
                                             id="monitoring.learning"))
        adjusted.append(observed_expected_ratio(
            y[rows], p[rows], patient[rows], id="monitoring.learning_adjusted", unit=unit,
            group=group))
    return tuple(observed), tuple(adjusted)


class _Beside(NamedTuple):
    """What stands beside experience: the group and the calendar time of each trial."""

    group: Labels
    calendar: Floats


def _slope(
    number: Floats, y: Floats, p: Floats, patient: Labels, beside: _Beside, unit: str,
) -> tuple[Estimate | None, pd.DataFrame, list[str]]:
    """The odds ratio of a doubling, and the curve it draws; None where it cannot be given."""
    import pandas as pd

    empty = pd.DataFrame(columns=["case_number", "ratio", "low", "high"])
    found, spread = int(y.sum()), np.ptp(number)
    if min(found, y.size - found) < FEWEST_EVENTS or spread == 0:
        return None, empty, [
            f"{found} events in {y.size} {plural(unit)}: fewer than {FEWEST_EVENTS} cannot carry a "
            "curve; the blocks are shown as they are."
        ]
    doublings = np.log2(number + 1)
    together = within_correlation(doublings, beside.calendar, beside.group)
    if abs(together) >= TOGETHER:
        return None, empty, [
            f"Experience and calendar time rise together (correlation {together:.2f}), so that "
            "their effects cannot be told apart; the blocks are shown as they are."]
    own = own_means(doublings, beside.group)
    columns = [doublings, beside.calendar, *([own] if np.ptp(own) > 0 else [])]
    x = np.column_stack([np.ones(y.size), *(c - c.mean() for c in columns)])
    coefficients, covariance, df = _offset_firth(x, y, np.log(p / (1 - p)), patient)
    reach = _t(df) * np.sqrt(covariance[1, 1])
    slope = Estimate(
        id="monitoring.learning_slope", kind="odds ratio", value=np.exp(coefficients[1]),
        low=np.exp(coefficients[1] - reach), high=np.exp(coefficients[1] + reach),
        method="Firth logistic model on log2(case number + 1) within groups, beside calendar "
               "time, expected risk as offset, variance clustered on the patient",
        unit=unit, events=found, n=y.size, clusters=len(set(patient.tolist())),
    )
    if says_nothing(slope.low or 0.0, slope.high or np.inf):
        return None, empty, [
            "Beside calendar time the effect of experience cannot be told: "
            f"{slope.number_text()} for each doubling, a halving and a doubling of the odds "
            "alike."]
    seen = shared_range(number, beside.group)
    if seen is None:
        return slope, empty, [f"{found} events stand behind the slope."]
    grid = np.unique(np.geomspace(seen[0] + 1, seen[1] + 1, 60).astype(int)) - 1
    lines = np.column_stack([np.ones(grid.size), np.log2(grid + 1) - doublings.mean(),
                             np.zeros((grid.size, x.shape[1] - 2))])
    middle = lines @ coefficients
    wide = _t(df) * np.sqrt(np.einsum("ij,jk,ik->i", lines, covariance, lines))
    curve = pd.DataFrame({"case_number": grid, "ratio": np.exp(middle),
                          "low": np.exp(middle - wide), "high": np.exp(middle + wide)})
    return slope, curve, [f"{found} events stand behind the slope."]


def _offset_firth(
    x: Floats, y: Floats, offset: Floats, patient: Labels
) -> tuple[Floats, Floats, int]:
    """Firth coefficients with a known offset, cluster-robust covariance, degrees of freedom."""
    from analyses.statistics.regression.sandwich import adjusted_scores, cluster_parts, sandwich

    coefficients = np.zeros(x.shape[1])
    for _ in range(100):
        risk = 1 / (1 + np.exp(-(x @ coefficients + offset)))
        weight = risk * (1 - risk)
        information = x.T @ (weight[:, None] * x)
        hat = weight * np.einsum("ij,jk,ik->i", x, np.linalg.inv(information), x)
        step = np.linalg.solve(information, x.T @ (y - risk + hat * (0.5 - risk)))
        coefficients = coefficients + np.clip(step, -2, 2)
        if np.abs(step).max() < 1e-10:
            break
    parts = cluster_parts(x, weight, y - risk, patient)
    return coefficients, sandwich(parts, adjusted_scores(parts, 1.0)), parts.clusters - x.shape[1]


def _t(df: int) -> float:
    from scipy.stats import t

    return float(t.ppf(0.975, max(1, df)))


def _running(number: Floats, y: Floats, p: Floats, who: Labels) -> pd.DataFrame:
    import pandas as pd

    frame = pd.DataFrame({"group": who, "case_number": number.astype(int), "observed": y,
                          "expected": p, "difference": y - p})
    frame = frame.sort_values(["group", "case_number"], kind="stable", ignore_index=True)
    sums = ["observed", "expected", "difference"]
    frame[sums] = frame.groupby("group")[sums].cumsum()
    return frame
