"""What this many patients can and cannot show, and how many would be needed.

Planning numbers, from assumptions that are stated with every one of them: the true risk, and a
design effect 1 + (m - 1)·ρ for m rows a patient and a within-patient correlation ρ (Kish 1965,
Survey Sampling). They are no finding about the patients.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analyses.precision.formulas import (
        design_effect,
        detectable_risk,
        expected_width,
        needed_for_difference,
        needed_for_width,
        needed_for_zero_bound,
        power_of_difference,
        upper_bound_at_zero,
    )
    from analyses.precision.plan import Precision, precision_plan

__all__ = [
    "Precision",
    "design_effect",
    "detectable_risk",
    "expected_width",
    "needed_for_difference",
    "needed_for_width",
    "needed_for_zero_bound",
    "power_of_difference",
    "precision_plan",
    "upper_bound_at_zero",
]


def __getattr__(name: str) -> Any:
    """Load a function's module when it is first asked for."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    home = "plan" if name in {"Precision", "precision_plan"} else "formulas"
    return getattr(import_module(f"{__name__}.{home}"), name)
