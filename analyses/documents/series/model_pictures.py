"""Pictures of the technique models: planned curves, and imputed beside recorded values."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from analyses.content.blocks import Picture
from analyses.figures.model_figures import Imputed
from analyses.models.technique_declared import term_of
from analyses.models.technique_outcomes import outcome_label

if TYPE_CHECKING:
    from analyses.models.planned_result import PlannedResult

PLACES = 25


def curve_pictures(results: Iterable[PlannedResult]) -> tuple[Picture, ...]:
    """The partial effect of every planned spline, with the density of the data on its axis."""
    return tuple(_curve(r) for r in results if r.fit is not None
                 and r.model.exposure.form == "spline" and r.fit.fitted.gives_risks)


def _curve(result: PlannedResult) -> Picture:
    from analyses.figures.model_figures import partial_effect
    from analyses.statistics.regression.standardisation import effect_curve

    fit, column = result.fit, result.model.exposure.columns[0]
    assert fit is not None
    seen = fit.rows.frame[column].astype(float)
    low, high = np.quantile(seen, [0.02, 0.98])
    values = np.unique(np.linspace(low, high, PLACES))
    outcome = outcome_label(result.model.outcome)
    label = _label(column)
    caption = (f"{outcome} along {label}, standardised; restricted cubic spline, "
               f"{fit.events} events in {fit.n} rows with everything recorded")
    return Picture(
        f"curve-{result.model.outcome}-{result.model.unit}-{column}", caption, caption,
        lambda width: partial_effect(
            effect_curve(fit, column, values), seen, fit.rows.y.astype(bool), label=label,
            outcome=outcome.lower(), unit=result.model.unit))


def imputed_pictures(results: Sequence[PlannedResult]) -> tuple[Picture, ...]:
    """Imputed beside recorded values, one picture a unit, a panel a variable."""
    found: dict[str, dict[str, Imputed]] = {}
    for result in results:
        if result.imputed is None:
            continue
        made = result.imputed.imputation
        for column in map(str, made.gaps.columns[made.gaps.any()]):
            found.setdefault(result.model.unit, {}).setdefault(
                column, Imputed(made.frames, made.gaps, column, _label(column),
                                one.levels if (one := term_of(column)) else ()))
    return tuple(_imputed(unit, list(mine.values())) for unit, mine in found.items())


def _imputed(unit: str, variables: Sequence[Imputed]) -> Picture:
    from analyses.figures.model_figures import imputed_panels

    caption = f"Values put into gaps of technique, per {unit}, beside those recorded"
    alt = f"{caption}: " + "; ".join(
        f"{one.label}, {int(one.gaps[one.column].sum())} of {len(one.gaps)} imputed"
        for one in variables)
    return Picture(f"imputed-{unit}", caption, alt,
                   lambda width: imputed_panels(variables, width))


def _label(column: str) -> str:
    one = term_of(column)
    words = one.label if one else column
    words = words[:1].lower() + words[1:]
    return f"{words} ({one.unit})" if one and one.unit else words
