"""What became of one declared model: its fit, its ratios, or why there is none."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

from analyses.models.model_plan import PlannedModel
from analyses.models.model_wording import ratio_sentence
from analyses.models.outcome_words import exposure_words
from analyses.statistics.estimate import Estimate
from analyses.statistics.regression.contrast import exposure_ratios
from analyses.statistics.regression.imputed_fit import ImputedFit
from analyses.statistics.regression.model_fit import ModelFit
from analyses.statistics.regression.standardisation import StandardisedRisks

if TYPE_CHECKING:
    from analyses.statistics.regression.diagnosis import Diagnosis

MARK = {"planned": "", "exploratory": "Exploratory (not in the plan): "}


@dataclass(frozen=True)
class PlannedResult:
    """What became of one declared (or exploratory) model.

    status: "planned" or "exploratory"; fit: the model on the rows with everything recorded, None
    where it could not be fitted, and then `refusal` says why; imputed: the pooled model where the
    plan asks for it and there are gaps; ratios: the estimates of the exposure, from the pooled
    model where there is one; risks: standardised risks at two settings of the exposure;
    not_asked: rows in which a variable has no meaning, which are not in any of the models.
    """

    model: PlannedModel
    status: str
    fit: ModelFit | None
    refusal: str = ""
    imputed: ImputedFit | None = None
    ratios: tuple[Estimate, ...] = ()
    risks: StandardisedRisks | None = None
    subgroups: Mapping[str, ModelFit | str] = field(default_factory=dict)
    not_asked: Mapping[str, int] = field(default_factory=dict)

    @property
    def answered(self) -> bool:
        """Whether a model stands behind the ratios, not only an exact or permutation test."""
        return self.imputed is not None or (
            self.fit is not None and self.fit.estimator != "exact")

    @property
    def warnings(self) -> tuple[str, ...]:
        """What the model behind the ratios warns of."""
        if self.imputed is not None:
            return self.imputed.warnings
        return () if self.fit is None else self.fit.warnings

    @property
    def complete_ratios(self) -> tuple[Estimate, ...]:
        """The same ratios from the rows with everything recorded, where gaps were imputed."""
        if self.imputed is None or self.fit is None or self.fit.estimator == "exact":
            return ()
        return exposure_ratios(self.fit, self.model.exposure, self.model.unit)

    @cached_property
    def diagnosis(self) -> Diagnosis | None:
        """How far the model may be trusted; None where there is none to diagnose."""
        from analyses.statistics.regression.diagnosis import can_be_diagnosed, diagnose

        if self.fit is None or not can_be_diagnosed(self.fit):
            return None
        return diagnose(self.fit, self.model.exposure, self.model.unit)

    @property
    def sentence(self) -> str:
        """One sentence a clinician can read, with the events behind it; marked where unplanned."""
        mark = MARK[self.status]
        if self.fit is None:
            return f"{mark}{self.model.name}: not fitted, because {self.refusal}."
        exposure = self.model.exposure
        if not self.answered:
            own = [w for w in self.fit.warnings if w.startswith(exposure.columns[0])]
            return " ".join((f"{mark}{self.model.name}: {self.fit.why}", *own))
        subject = exposure_words(exposure) if exposure.form == "spline" else ""
        return mark + " ".join(
            ratio_sentence(one, self.model.outcome, subject) for one in self.ratios)
