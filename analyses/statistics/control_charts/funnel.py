"""Funnel plot: groups against the whole, by their number of trials.

Source: Spiegelhalter 2005, Stat Med 24:1185 (exact limits with interpolation, his appendix A.1;
overdispersion as a multiplicative factor from winsorised z scores). No ranking: rows stand in
the order of their codes. Fewer than 10 trials are shown and not judged.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from analyses.statistics.arrays import Floats, Labels, Mask
from analyses.statistics.control_charts.chart_arrays import events, risks, same_length
from analyses.statistics.estimate import Estimate
from analyses.words.estimate_text import plural
from analyses.words.numerals import quantity, span
from analyses.words.self_showing import Displayed, Summary

if TYPE_CHECKING:
    import pandas as pd

FEWEST_TRIALS = 10
FEWEST_GROUPS = 5
NO_LEAGUE_TABLE = (
    "This is not a league table: most differences between {groups} are chance and case mix, "
    "and a place in an order says nothing. Look at the process before the person."
)
TAILS = (("95", 0.025, 1.959963984540054), ("99.8", 0.001, 3.090232306167813))


@dataclass(frozen=True)
class Funnel(Displayed):
    """One row a group, the limits at its own size, the curves to draw, and the words.

    table: group, events, trials, value (proportion, or observed/expected where expected risks
    were given), lower_95, upper_95, lower_99.8, upper_99.8, judged, signal, reason. curves: the
    same limits over the range of sizes (empty with expected risks, where every group has limits
    of its own mix). target: the whole. factor: overdispersion (1 where none was used). unit: what a
    trial is called.
    """

    table: pd.DataFrame
    curves: pd.DataFrame
    estimates: tuple[Estimate, ...]
    target: float
    factor: float
    measure: str
    method: str
    notes: tuple[str, ...]
    unit: str = "trial"

    def summary(self) -> Summary:
        """A row a group with its limits and whether it lies inside."""
        rows = tuple(
            (str(row["group"]), f"{int(row['events']):,}/{int(row['trials']):,}",
             quantity(float(row["value"])), span(quantity(float(row["lower_95"])),
                                                  quantity(float(row["upper_95"]))),
             str(row["reason"]) or ("inside" if row["judged"] else "too few to judge"))
            for row in self.table.to_dict("records"))
        return Summary(
            f"Funnel: {self.measure}",
            ("Code", f"Events/{plural(self.unit)}", "Value", "95 % limits by chance alone",
             "Place"), rows,
            (f"{self.method}.", *self.notes))


def funnel_plot(
    group: Sequence[Any],
    event: Iterable[Any],
    cluster: Sequence[Any],
    *,
    expected: Iterable[Any] | None = None,
    unit: str = "trial",
    group_name: str = "group",
) -> Funnel:
    """Funnel of the proportion with an event, or of observed/expected where risks are given.

    group: a code a trial (who did it, or where); event: 0 or 1; cluster: the patient; expected:
    the trial's risk; unit and group_name: what a trial and a group are called, in the estimates
    and the notes. Limits are exact: binomial for proportions, the sum of unequal binomials for
    expected risks. Raises ValueError.
    """
    import pandas as pd

    codes, y = np.asarray([str(g) for g in group], dtype=object), events(list(event))
    patient = np.asarray(list(cluster), dtype=object)
    p = None if expected is None else risks(list(expected))
    same_length(group=codes, event=y, cluster=patient, expected=y if p is None else p)
    names = sorted(set(codes.tolist()))
    target = float(y.mean()) if p is None else 1.0
    rows = [_row(name, codes == name, y, p, target) for name in names]
    table = pd.DataFrame(rows)
    factor, words = _overdispersion(table, plural(unit))
    table = _judged(_widened(table, target, factor), plural(unit))
    curves = _curves(table, target, factor) if p is None else table.iloc[0:0]
    notes = (*words, *_few(table, plural(unit)),
             f"Limits treat {plural(unit)} as independent; several {plural(unit)} of one patient "
             f"under one {group_name} make them a little too narrow.",
             NO_LEAGUE_TABLE.format(groups=plural(group_name)))
    return Funnel(
        table, curves, tuple(_estimates(names, codes, y, p, patient, unit, group_name)),
        target, factor,
        "proportion with an event" if p is None else "observed/expected events",
        "exact limits, 95 % and 99.8 % (Spiegelhalter 2005)"
        + ("" if factor == 1 else ", widened for overdispersion"), notes, unit,
    )


def exact_limit(density: Floats, tail: float) -> float:
    """The interpolated count below which `tail` of the distribution lies (Spiegelhalter, A.1).

    density: chance of 0, 1, 2, … events. With r the smallest count whose cumulative chance
    passes `tail`: r − (F(r) − tail)/(F(r) − F(r − 1)), not below 0.
    """
    total = np.cumsum(density)
    r = min(int(np.searchsorted(total, tail, side="right")), density.size - 1)
    part = (total[r] - tail) / density[r] if density[r] > 0 else 0.0
    return max(0.0, r - float(part))


def binomial_density(count: int, p: float) -> Floats:
    """Chance of 0 … count events of equal risk."""
    from scipy.stats import binom

    found: Floats = binom.pmf(np.arange(count + 1), count, p)
    return found


def mixed_density(p: Floats) -> Floats:
    """Chance of 0 … n events when every trial has its own risk (Poisson binomial)."""
    density = np.array([1.0])
    for risk in p.tolist():
        longer = np.zeros(density.size + 1)
        longer[:-1] = density * (1 - risk)
        longer[1:] += density * risk
        density = longer
    return density


def _row(
    name: str, rows: Mask, y: Floats, p: Floats | None, target: float
) -> dict[str, Any]:
    """Counts, value, z score and exact limits of one group."""
    found, count = float(y[rows].sum()), int(rows.sum())
    if p is None:
        density, scale = binomial_density(count, target), float(count)
        spread = np.sqrt(target * (1 - target) / count)
    else:
        density, scale = mixed_density(p[rows]), float(p[rows].sum())
        spread = float(np.sqrt((p[rows] * (1 - p[rows])).sum())) / scale
    row = {"group": name, "events": int(found), "trials": count, "expected": scale * target,
           "value": found / scale, "spread": spread,
           "z": (found / scale - target) / spread if spread > 0 else 0.0}
    for label, tail, _ in TAILS:
        row[f"lower_{label}"] = exact_limit(density, tail) / scale
        row[f"upper_{label}"] = exact_limit(density, 1 - tail) / scale
    return row


def _overdispersion(table: pd.DataFrame, many: str) -> tuple[float, list[str]]:
    """The factor φ of Spiegelhalter's A.3, 1 where it is not needed or cannot be told."""
    from scipy.stats import chi2

    z = table.loc[table["trials"] >= FEWEST_TRIALS, "z"].to_numpy()
    if z.size < FEWEST_GROUPS:
        return 1.0, [f"{z.size} groups with {FEWEST_TRIALS} {many} or more: too few to say "
                     "whether they differ more than chance allows."]
    low, high = np.quantile(z, [0.1, 0.9])
    factor = float(np.mean(np.clip(z, low, high) ** 2))
    if factor * z.size <= chi2.ppf(0.95, z.size):
        return 1.0, ["The groups do not differ more than chance allows (no overdispersion)."]
    return factor, [f"The groups differ more than chance allows (factor {factor:.2f} from "
                    f"{z.size} groups): limits are widened, as case mix that is not recorded "
                    "would do the same."]


def _widened(table: pd.DataFrame, target: float, factor: float) -> pd.DataFrame:
    """Normal limits stretched by the square root of the factor, where there is one."""
    if factor == 1:
        return table
    table = table.copy()
    for label, _, quantile in TAILS:
        reach = quantile * np.sqrt(factor) * table["spread"]
        table[f"lower_{label}"] = np.maximum(target - reach, 0)
        table[f"upper_{label}"] = target + reach
    return table


def _judged(table: pd.DataFrame, many: str) -> pd.DataFrame:
    judged = table["trials"] >= FEWEST_TRIALS
    high = judged & (table["value"] > table["upper_99.8"])
    low = judged & (table["value"] < table["lower_99.8"])
    reason = np.where(high, "above the 99.8 % limit", np.where(low, "below the 99.8 % limit", ""))
    reason = np.where(judged, reason, f"fewer than {FEWEST_TRIALS} {many}: not judged")
    return table.assign(judged=judged, signal=high | low, reason=reason)


def _few(table: pd.DataFrame, many: str) -> list[str]:
    few = int((~table["judged"]).sum())
    return [f"{few} with fewer than {FEWEST_TRIALS} {many}: shown, not judged."] if few else []


def _curves(table: pd.DataFrame, target: float, factor: float) -> pd.DataFrame:
    import pandas as pd

    sizes = np.unique(np.geomspace(2, max(20, 1.1 * table["trials"].max()), 120).astype(int))
    rows = []
    for size in sizes.tolist():
        density, row = binomial_density(size, target), {"trials": size}
        for label, tail, quantile in TAILS:
            reach = quantile * np.sqrt(factor * target * (1 - target) / size)
            exact = exact_limit(density, tail) / size, exact_limit(density, 1 - tail) / size
            row[f"lower_{label}"], row[f"upper_{label}"] = (
                exact if factor == 1 else (max(0.0, target - reach), target + reach)
            )
        rows.append(row)
    return pd.DataFrame(rows)


def _estimates(
    names: Sequence[str], codes: Labels, y: Floats, p: Floats | None, patient: Labels,
    unit: str, group_name: str,
) -> list[Estimate]:
    from analyses.statistics.control_charts.observed_expected import observed_expected_ratio
    from analyses.statistics.proportions.clustered import clustered_proportion

    found = []
    for name in names:
        rows, group = codes == name, {group_name: str(name)}
        found.append(clustered_proportion(y[rows], patient[rows], unit=unit, group=group,
                                          id=f"monitoring.by_{group_name}"))
        if p is not None:
            found.append(observed_expected_ratio(
                y[rows], p[rows], patient[rows], unit=unit, group=group,
                id=f"monitoring.by_{group_name}_ratio"))
    return found
