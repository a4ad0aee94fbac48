"""Do groups differ in a proportion? Their counts, the differences, and one test of all of them.

The test exchanges whole patients, so that it holds its level however few the events and however
alike the rows of a patient (Good 2005, Permutation, Parametric and Bootstrap Tests of Hypotheses,
3rd edition); asymptotic tests of version 1 rejected up to 31.8 % of true nulls in small groups.
Two groups with one row a patient: Fisher's exact test.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from analyses.statistics.arguments import check_level, codes, event_values, same_length
from analyses.statistics.arrays import Floats, Labels, Mask, Whole
from analyses.statistics.estimate import Estimate
from analyses.statistics.proportions.clustered import clustered_proportion
from analyses.statistics.proportions.difference import clustered_difference
from analyses.statistics.regression.exact import PERMUTATIONS, exchange_patients, fisher_exact
from analyses.words.self_showing import Displayed, Summary
from analyses.words.wording_of_p import p_text

FLOOR = 8
"""Fewest events, and fewest rows without one, in all, from which groups are compared."""
EXPECTED = 1.0
"""Fewest events, and rows without one, to be expected of a group that the test looks at."""
SEED = 20260101
FISHER = "Fisher's exact test"
EXCHANGE = "exchange of whole patients, {:,} exchanges"


@dataclass(frozen=True)
class ProportionsCompared(Displayed):
    """Groups beside each other.

    table: index `group`; columns events, n, patients, value, low, high (shares from 0 to 1,
    clustered on the patient); differences: each group minus the reference, from -1 to 1; p_value:
    of one test of all groups, None where there is none; why: why there is no P value, or no
    comparison at all ("" where there is one); method: the test's name; left_out: groups too small
    for the test.
    """

    table: pd.DataFrame
    differences: tuple[Estimate, ...]
    p_value: float | None
    why: str
    method: str
    left_out: tuple[str, ...] = ()

    def test_text(self) -> str:
        """What the test says, or why there is none; for use beside the differences only."""
        if self.p_value is None:
            return f"no test: {self.why}"
        out = f"; left out as too small: {', '.join(self.left_out)}" if self.left_out else ""
        return f"{self.method}: {p_text(self.p_value)}{out}"

    def summary(self) -> Summary:
        """A row a group, the differences and the test below."""
        rows = tuple((str(group), f"{int(row['events']):,}/{int(row['n']):,}",
                      f"{int(row['patients']):,}") for group, row in self.table.iterrows())
        notes = (f"{', '.join((e.group or {}).values())}: {e.as_text()}."
                 for e in self.differences)
        test = self.test_text()
        return Summary("Groups compared", ("Group", "Events", "Patients"), rows,
                       (*notes, f"{test[:1].upper()}{test[1:]}."))


def compare_groups(
    event: ArrayLike, group: Sequence[Any] | Labels | pd.Series,
    cluster: Sequence[Any] | Labels, *, level: float = 0.95, reference: Any = None,
    strata: Sequence[Any] | Labels | None = None, exchanges: int = PERMUTATIONS, seed: int = SEED,
    id: str = "difference", unit: str = "", keys: Sequence[Any] | None = None,
) -> ProportionsCompared:
    """Compare the proportion of events between groups of rows that may repeat within patients.

    event: 0/1 or booleans, one a row; group: labels of any kind, one a row, in the order of a
    categorical, else sorted; cluster: the patient of each row. reference: the group that the
    others are compared with (the first unless given). Differences as `clustered_difference`.

    The test: outcomes are exchanged `exchanges` times (with the seed given) between patients who
    have as many rows, each patient's kept together, and inside `strata` where these are given;
    P is the share of exchanges in which the groups lie as far apart (squared distance of events
    from those expected, over the group's rows). Two groups, one row a patient and no strata:
    Fisher's exact test.

    Below 8 events or 8 rows without one nothing is compared, and only Fisher's test, which is
    exact, gives a P value; a group with less than 1 event or 1 row without one to be expected is
    left out of the test by exchange.

    Raises ValueError for missing or wrong outcomes, a row without a group, patient or stratum, an
    unknown reference, or columns of different length.
    """
    outcome = event_values(event)
    side, labels = in_order(group)
    patient, _ = codes(cluster)
    same_length(event=outcome, group=side, cluster=patient)
    kind = None if strata is None else codes(strata, "stratum")[0]
    if kind is not None:
        same_length(event=outcome, strata=kind)
    check_level(level)
    first = _reference(labels, reference)
    table = _table(outcome, side, patient, labels, level)
    enough = min(outcome.sum(), len(outcome) - outcome.sum()) >= FLOOR
    differences = tuple(
        _difference(outcome, side, patient, labels, other, first, level, id, unit, keys)
        for other in range(len(labels)) if other != first) if enough else ()
    why = _why_none(outcome, labels)
    alone = len(np.unique(patient)) == len(outcome)
    if not why and len(labels) == 2 and alone and kind is None:
        p = fisher_exact(outcome, (side == 0).astype(float))
        return ProportionsCompared(table, differences, p, "", FISHER)
    if not why and not enough:
        events = int(outcome.sum())
        why = (f"{events} with the event and {len(outcome) - events} without; at least {FLOOR} of "
               "each are wanted, so the counts stand alone")
    if why:
        return ProportionsCompared(table, differences, None, why, "")
    inside, left_out = _large_enough(outcome, side, labels)
    p_value, why = _exchanged(outcome[inside], side[inside], patient[inside],
                              None if kind is None else kind[inside], exchanges, seed)
    return ProportionsCompared(table, differences, p_value, why, EXCHANGE.format(exchanges),
                               left_out)


def in_order(group: Sequence[Any] | Labels | pd.Series) -> tuple[Whole, list[Hashable]]:
    """Codes and labels of the groups: in the order of a categorical, else sorted."""
    column = pd.Series(group)
    side: Whole
    if isinstance(column.dtype, pd.CategoricalDtype) and not column.isna().any():
        used = column.cat.remove_unused_categories()
        side, labels = used.cat.codes.to_numpy(dtype=np.int64), used.cat.categories.tolist()
    else:
        side, labels = codes(column.tolist(), "group")
    if len(set(map(str, labels))) < len(labels):
        raise ValueError("Two groups are written alike, such as 1 and \"1\"; name them apart.")
    return side, labels


def _reference(labels: list[Hashable], reference: Any) -> int:
    if reference is None:
        return 0
    if reference not in labels:
        known = ", ".join(map(str, labels)) or "none"
        raise ValueError(f"No row has the reference group {reference!r}; the groups are {known}.")
    return labels.index(reference)


def _table(
    outcome: Floats, side: Whole, patient: Whole, labels: list[Hashable], level: float,
) -> pd.DataFrame:
    found = [clustered_proportion(outcome[side == number], patient[side == number], level=level)
             for number in range(len(labels))]
    return pd.DataFrame({
        "events": np.array([e.events for e in found], int),
        "n": np.array([e.n for e in found], int),
        "patients": np.array([e.clusters for e in found], int),
        "value": np.array([e.value for e in found], float),
        "low": np.array([e.low for e in found], float),
        "high": np.array([e.high for e in found], float),
    }, index=pd.Index(labels, name="group"))


def _difference(
    outcome: Floats, side: Whole, patient: Whole, labels: list[Hashable], other: int, first: int,
    level: float, id: str, unit: str, keys: Sequence[Any] | None,
) -> Estimate:
    """One group minus the reference."""
    pair = np.isin(side, (other, first))
    kept = None if keys is None else [k for k, here in zip(keys, pair, strict=True) if here]
    names = [str(label) for label in labels]
    return clustered_difference(
        outcome[pair], [names[number] for number in side[pair]], patient[pair].tolist(),
        level=level, reference=names[first], id=id, unit=unit, keys=kept,
        group={"groups": f"{names[other]} minus {names[first]}"})


def _why_none(outcome: Floats, labels: list[Hashable]) -> str:
    """Why nothing can be tested whatever the method; "" where something can."""
    if not len(outcome):
        return "nothing was counted"
    if len(labels) < 2:
        return "there is one group only"
    if outcome.sum() in (0, len(outcome)):
        return "no row has the event" if outcome.sum() == 0 else "every row has the event"
    return ""


def _large_enough(
    outcome: Floats, side: Whole, labels: list[Hashable],
) -> tuple[Mask, tuple[str, ...]]:
    """The rows of groups large enough for the test by exchange, and the names of the others."""
    share = min(float(outcome.mean()), 1 - float(outcome.mean()))
    small = np.bincount(side, minlength=len(labels)) * share < EXPECTED
    return ~small[side], tuple(str(label) for label, out in zip(labels, small, strict=True) if out)


def _exchanged(
    outcome: Floats, side: Whole, patient: Whole, strata: Whole | None, exchanges: int, seed: int,
) -> tuple[float | None, str]:
    """P by exchange of whole patients, or None and why."""
    if len(np.unique(side)) < 2:
        return None, "too few events or rows in the groups for a test"
    whole = np.unique(patient, return_inverse=True)[1]
    inside = (side[:, None] == np.unique(side)[None, :]).astype(float)
    sizes, share = inside.sum(axis=0), outcome.mean()

    def apart(outcomes: Floats) -> Floats:
        found: Floats = ((outcomes @ inside - share * sizes) ** 2 / sizes).sum(axis=1)
        return found

    generator = np.random.default_rng(seed)
    seen, reached, lowest, highest = float(apart(outcome[None, :])[0]), 0, np.inf, -np.inf
    for block in np.array_split(np.arange(exchanges), max(1, exchanges // 1000)):
        orders = exchange_patients(whole, len(block), generator, strata)
        found = apart(outcome[orders])
        reached += int((found >= seen * (1 - 1e-10)).sum())
        lowest, highest = min(lowest, float(found.min())), max(highest, float(found.max()))
    if highest - lowest <= 1e-10 * max(1.0, seen):
        return None, ("no patient can change places with one of another group who has as many "
                      "rows" + ("" if strata is None else " and the same stratum"))
    return (1 + reached) / (1 + exchanges), ""
