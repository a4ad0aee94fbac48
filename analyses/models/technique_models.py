"""Did it matter how it was done? Each technique variable in turn against each outcome.

The frames need only be tables with the named columns; whoever has a freeze prepares them.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, replace

import pandas as pd

from analyses.models.model_plan import Plan, declared_late
from analyses.models.planned_result import PlannedResult
from analyses.models.planned_run import OBSERVATIONAL, run_plan
from analyses.models.technique_plan import default_plan
from registry.schema import Patients


@dataclass(frozen=True)
class TechniqueModels:
    """Results of a plan on technique, with what must be said beside them.

    heading: the plan with its date and hash; results: one a declared model; cautions: sentences
    that go with every table or figure drawn from them.
    """

    plan: Plan
    heading: str
    results: tuple[PlannedResult, ...]
    cautions: tuple[str, ...]

    def of(self, unit: str) -> tuple[PlannedResult, ...]:
        """The results on rows of one unit."""
        return tuple(result for result in self.results if result.model.unit == unit)


def run_technique_models(
    frames: Mapping[str, pd.DataFrame], *, plan: Plan | None = None,
    data_seen: datetime.date | None = None,
) -> TechniqueModels:
    """Run the plan (the default one where none is given) on the frames at hand.

    frames: unit ("session", "lesion", "patient", "resection") to a table with `patient_id`, the
    outcome (`event`; `obliterated`; `permanent_deficit`; `blood_loss_ml`, `operation_min`), the
    technique variables and the adjustment columns. data_seen: the day the data were frozen; a
    plan written after it was not written before the data. Every model is then exploratory, as it
    is where no plan was declared at all, and the cautions say so. Raises ValueError where a
    frame lacks patient_id.
    """
    without = [unit for unit, frame in frames.items() if Patients.patient_id not in frame.columns]
    if without:
        raise ValueError(f"{', '.join(without)}: the table needs a column patient_id")
    own = plan is not None
    plan = plan or default_plan(data_seen or datetime.date(1970, 1, 1))
    results = run_plan(plan, frames)
    if own:
        results += _without_a_table(plan, frames)
    late = own and declared_late(plan, data_seen)
    if late or not own:
        results = tuple(replace(result, status="exploratory") for result in results)
    heading = plan.heading if own else (
        "No plan file was declared; the default models were run and are exploratory")
    return TechniqueModels(plan, heading, results, _cautions(plan, results, late))


def _without_a_table(
    plan: Plan, frames: Mapping[str, pd.DataFrame]
) -> tuple[PlannedResult, ...]:
    """Declared models of a unit there is no table of: told, not passed over."""
    known = ", ".join(frames)
    return tuple(
        PlannedResult(model, "planned", None, f"its unit is {model.unit!r}; there are {known}")
        for model in plan.models if model.unit not in frames)


def _cautions(
    plan: Plan, results: tuple[PlannedResult, ...], late: bool
) -> tuple[str, ...]:
    found = [OBSERVATIONAL]
    fitted = [r for r in results if r.answered]
    if len(fitted) > 1:
        found.append(
            f"{len(fitted)} models were fitted; with intervals of {100 * plan.level:g} % about "
            f"{(1 - plan.level) * len(fitted):.1f} of them would miss the truth by chance alone.")
    if late:
        found.append(
            f"The plan is dated {plan.date.isoformat()}, after the data were frozen; everything "
            "fitted is exploratory.")
    refused = [r for r in results if r.fit is None]
    if refused:
        found.append(f"{len(refused)} declared models could not be fitted; each says why.")
    tested = sum(r.fit is not None and not r.answered for r in results)
    if tested:
        found.append(f"{tested} more had too few events for a model; what was seen stands in its "
                     "place.")
    return tuple(found)
