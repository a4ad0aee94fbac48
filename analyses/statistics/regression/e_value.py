"""How strong an unmeasured confounder would have to be: the E-value.

VanderWeele and Ding 2017, Ann Intern Med 167:268: the smallest risk ratio that a confounder
would need with both the variable and the outcome, beyond what the model adjusts for, to explain
an association away. An odds ratio stands for a risk ratio when the outcome is rare (under 15 %),
its square root when it is common.
"""

from __future__ import annotations

import math

COMMON = 0.15


def e_value(risk_ratio: float) -> float:
    """E-value of a risk ratio above 0. Raises ValueError otherwise."""
    if not risk_ratio > 0 or math.isinf(risk_ratio):
        raise ValueError(f"a risk ratio must be a finite number above 0; found {risk_ratio}")
    ratio = max(risk_ratio, 1 / risk_ratio)
    return ratio + math.sqrt(ratio * (ratio - 1))


def e_value_of_bound(low: float, high: float) -> float:
    """E-value of the interval's end nearer to 1; 1 where the interval includes 1."""
    if low <= 1 <= high:
        return 1.0
    return e_value(low if low > 1 else high)


def as_risk_ratio(ratio: float, kind: str, outcome_share: float) -> float:
    """The risk ratio an odds or hazard ratio stands for (VanderWeele and Ding 2017, table 2)."""
    if kind == "risk ratio" or outcome_share < COMMON:
        return ratio
    if kind == "odds ratio":
        return math.sqrt(ratio)
    if kind == "hazard ratio":
        return float((1 - 0.5 ** math.sqrt(ratio)) / (1 - 0.5 ** math.sqrt(1 / ratio)))
    raise ValueError(f"no risk ratio stands for a {kind}")
