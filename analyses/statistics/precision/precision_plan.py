"""The plan for one service: one object that gives the estimates, a table and the sentences."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from analyses.statistics.arguments import count
from analyses.statistics.estimate import Estimate
from analyses.statistics.precision.precision_formulas import (
    design_effect,
    detectable_risk,
    expected_width,
    needed_for_width,
    needed_for_zero_bound,
    positive,
    upper_bound_at_zero,
)
from analyses.statistics.presentation import presentable_width
from analyses.words.numerals import percent, points, whole

if TYPE_CHECKING:
    import pandas as pd

RISKS = (0.01, 0.03, 0.05, 0.10, 0.20)
BOUND, WIDTH, DETECTABLE, FOR_WIDTH, FOR_ZERO = (
    "precision.bound_at_zero", "precision.width", "precision.detectable",
    "precision.needed_for_width", "precision.needed_for_zero",
)
COLUMNS = {
    WIDTH: "interval expected to be (points wide)",
    DETECTABLE: "higher risk that two groups tell apart",
    FOR_WIDTH: "patients for a presentable interval",
    FOR_ZERO: "patients, none with an event, to exclude it",
}


@dataclass(frozen=True, kw_only=True)
class Precision:
    """The plan: `estimates` are the numbers, `table` shows them, `sentences` say them.

    The kind of an estimate is "planned share" (value from 0 to 1) or "planned number" (patients);
    its id says the question, its group the true risk.
    """

    patients: int
    rows: int
    unit: str
    design_effect: float
    correlation: float
    level: float
    power: float
    group_sizes: tuple[int, int]
    estimates: tuple[Estimate, ...] = field(repr=False)

    @property
    def effective_n(self) -> float:
        """Independent units that the rows are worth."""
        return self.rows / self.design_effect

    @property
    def table(self) -> pd.DataFrame:
        """One row a true risk; the answers as text, drawn from the estimates."""
        import pandas as pd

        lines: dict[str, dict[str, str]] = {}
        for estimate in self.estimates:
            if estimate.id in COLUMNS:
                risk = _risk(estimate)
                line = lines.setdefault(risk, {"true risk": risk})
                line[COLUMNS[estimate.id]] = answer(estimate)
        return pd.DataFrame(list(lines.values()))

    def sentences(self) -> tuple[str, ...]:
        """The assumptions first, then what can be shown, then how many would be needed."""
        return (self._assumptions(), *(_sentence(self, e) for e in self.estimates))

    def _assumptions(self) -> str:
        clustered = (
            f"with a within-patient correlation of {self.correlation:g} (an assumption) the design "
            f"effect is {self.design_effect:.2f}, so they are worth {whole(self.effective_n)} "
            f"independent {self.unit}s; "
        )
        repeats = clustered if self.rows > self.patients else ""
        rows = "" if self.unit == "patient" else f"{whole(self.rows)} {self.unit}s of "
        return (
            f"{rows}{whole(self.patients)} patients; {repeats}"
            f"{100 * self.level:g} % intervals, {100 * self.power:g} % power."
        )


def precision_plan(
    patients: int, *, rows: ArrayLike | float = 1, correlation: float = 0.0,
    risks: Sequence[float] = RISKS, width: float | None = None, group_share: float = 0.5,
    power: float = 0.80, level: float = 0.95, unit: str = "patient",
) -> Precision:
    """What `patients` patients can show about a risk, and how many would be needed.

    rows: rows a patient, one number or one a patient; correlation: within-patient correlation,
    assumed or estimated (`clusters.intraclass_correlation`); risks: the true risks to plan for;
    width: the interval width wanted (from 0 to 1; else the widest that passes the presentation
    rule); group_share: the share of units in the first of two groups compared. Bounds at zero
    events are of the risk of a patient, and so count patients.

    Raises ValueError for no patients, or anything outside its range.
    """
    number = count(patients, "The number of patients")
    positive(number, "The number of patients")
    if not 0 < group_share < 1:
        raise ValueError(f"The share of a group is {group_share}; between 0 and 1 is wanted.")
    total, effect = _rows_of(rows, number), design_effect(rows, correlation)
    plan = Precision(
        patients=number, rows=total, unit=unit, design_effect=effect, correlation=correlation,
        level=level, power=power, estimates=(),
        group_sizes=(round(total * group_share), total - round(total * group_share)),
    )
    at_zero = _planned(
        plan, BOUND, "planned share", upper_bound_at_zero(number, level),
        method="Clopper–Pearson by patients",
    )
    found = [e for risk in risks for e in _at_risk(plan, risk, width, group_share)]
    return _with_estimates(plan, (at_zero, *found))


def answer(estimate: Estimate) -> str:
    """A planning number in short: `9.3 %`, `8.1 points`, `412`, or that there is none."""
    if estimate.value is None:
        return "none"
    if estimate.kind == "planned number":
        return whole(estimate.value)
    if estimate.id == WIDTH:
        return points(estimate.value)
    return f"{percent(estimate.value)} %"


def _at_risk(
    plan: Precision, risk: float, width: float | None, group_share: float
) -> list[Estimate]:
    """The four answers at one true risk."""
    worth, level = plan.effective_n, plan.level
    wanted = presentable_width(risk) if width is None else width
    a_patient = worth / plan.patients
    needed = math.ceil(needed_for_width(wanted, risk, level) / a_patient - 1e-9)
    told = detectable_risk(
        worth * group_share, worth * (1 - group_share), risk, power=plan.power, level=level
    )
    exact = "expected Clopper–Pearson"
    return [
        _planned(plan, WIDTH, "planned share", expected_width(worth, risk, level), risk, exact),
        _planned(plan, DETECTABLE, "planned share", told, risk, "normal approximation, pooled"),
        _planned(plan, FOR_WIDTH, "planned number", needed, risk, exact, wanted),
        _planned(
            plan, FOR_ZERO, "planned number", needed_for_zero_bound(risk, level), risk,
            "Clopper–Pearson by patients",
        ),
    ]


def _planned(
    plan: Precision, id: str, kind: str, value: float | None, risk: float | None = None,
    method: str = "", width: float | None = None,
) -> Estimate:
    group = {} if risk is None else {"true risk": f"{percent(risk)} %"}
    if width is not None:
        group["width"] = f"{points(width)} percentage points"
    return Estimate(
        id=id, kind=kind, value=value, group=group or None, method=method, level=plan.level,
        unit=plan.unit, n=plan.rows, clusters=plan.patients,
    )


def _with_estimates(plan: Precision, estimates: tuple[Estimate, ...]) -> Precision:
    from dataclasses import replace

    return replace(plan, estimates=estimates)


def _rows_of(rows: ArrayLike | float, patients: int) -> int:
    """All rows: rows a patient times patients, or the sum of one number a patient."""
    sizes = np.atleast_1d(np.asarray(rows, dtype=float))
    if len(sizes) == 1:
        return round(float(sizes[0]) * patients)
    if len(sizes) != patients:
        raise ValueError(f"There are rows for {len(sizes)} patients, not for {patients}.")
    return int(sizes.sum())


def _risk(estimate: Estimate) -> str:
    return (estimate.group or {}).get("true risk", "")


def _sentence(plan: Precision, estimate: Estimate) -> str:
    said, risk = answer(estimate), _risk(estimate)
    sizes = " and ".join(whole(size) for size in plan.group_sizes)
    words = {
        BOUND: f"If none of the {whole(plan.patients)} patients has an event, a true risk of up to "
        f"{said} cannot be excluded.",
        WIDTH: f"At a true risk of {risk} the interval is expected to be {said} percentage points "
        "wide.",
        DETECTABLE: f"With groups of {sizes} {plan.unit}s a risk of {said} or more can be told "
        f"from {risk} with {100 * plan.power:g} % power; a smaller difference cannot be excluded.",
        FOR_WIDTH: f"At a true risk of {risk}, {said} patients are needed for an interval expected "
        f"to be {(estimate.group or {}).get('width', '')} wide.",
        FOR_ZERO: f"{said} patients, none with an event, are needed to exclude a risk of {risk}.",
    }
    if estimate.id == DETECTABLE and estimate.value is None:
        return (
            f"With groups of {sizes} {plan.unit}s no higher risk can be told from {risk} with "
            f"{100 * plan.power:g} % power."
        )
    return words[estimate.id]
