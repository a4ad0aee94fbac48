"""How strong an unmeasured confounder would have to be: the E-value.

VanderWeele and Ding 2017, Ann Intern Med 167:268: the smallest risk ratio that a confounder
would need with both the variable and the outcome, beyond what the model adjusts for, to explain
an association away. An odds ratio stands for a risk ratio when the outcome is rare (under 15 %),
its square root when it is common.
"""

from __future__ import annotations

import math

import pandas as pd

from analyses.statistics.estimate import Estimate

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


def confounding_table(estimates: tuple[Estimate, ...]) -> pd.DataFrame:
    """E-values of ratios: index `term`; columns ratio, e_value, e_value_of_bound, sentence."""
    lines = {}
    for one in estimates:
        if one.value is None or one.low is None or one.high is None or not one.n:
            continue
        share = (one.events or 0) / one.n
        value, low, high = (as_risk_ratio(v, one.kind, share)
                            for v in (one.value, one.low, one.high))
        point, bound = e_value(value), e_value_of_bound(low, high)
        term = (one.group or {}).get("term", one.id)
        lines[term] = {"ratio": one.value, "e_value": point, "e_value_of_bound": bound,
                       "sentence": _sentence(term, one, point, bound)}
    return pd.DataFrame.from_dict(lines, orient="index").rename_axis("term")


def _sentence(term: str, one: Estimate, point: float, bound: float) -> str:
    start = f"{term} ({one.kind} {one.value:.2f}, {one.low:.2f}–{one.high:.2f}): "
    if bound == 1:
        return start + "the interval includes no association, so nothing needs explaining away."
    return start + (
        f"an unmeasured factor related to both it and the outcome by risk ratios of {point:.1f} "
        f"each could explain the estimate away, and of {bound:.1f} each could move its interval "
        "to include no association.")
