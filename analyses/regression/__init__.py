"""Regression that survives few events and several rows a patient.

`fit` is the one call; everything else is reached through its modules. Names are loaded when
first used, so that importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

_HOMES = {
    "fit": "fitting",
    "ModelFit": "result",
    "Term": "terms",
    "Plan": "plan",
    "PlannedModel": "plan",
    "read_plan": "plan",
    "write_plan": "plan",
    "plan_table": "plan",
    "default_plan": "technique_plan",
    "run_plan": "planned_run",
    "run_technique_models": "technique_models",
    "fit_imputed": "imputed_fit",
    "impute": "imputation",
    "pool": "pooling",
    "standardised_risks": "standardisation",
    "effect_curve": "standardisation",
    "patient_influence": "influence",
    "validate": "validation",
    "calibration_table": "validation",
    "compare_weighted": "propensity",
    "compare_weighted_level": "propensity",
    "e_value": "unmeasured",
    "confounding_table": "unmeasured",
    "side_by_side_table": "side_by_side",
    "learning_effect": "learning",
    "functional_form": "shape",
}
__all__ = sorted(_HOMES)


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"analyses.regression has no {name!r}")
    found = getattr(import_module(f"analyses.regression.{_HOMES[name]}"), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return __all__
