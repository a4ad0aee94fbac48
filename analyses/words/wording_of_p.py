"""How a P value is written: never alone, never as zero."""

from __future__ import annotations

HOLM = "Holm-adjusted"
"""How a P value is called that several tests share."""


def p_text(p: float) -> str:
    """`P = 0.0003`, `P = 0.040`, `P < 0.0001`: two digits that are not zero, four places at
    most."""
    if p < 0.0001:
        return "P < 0.0001"
    if p > 0.999:
        return "P > 0.999"
    for places in (2, 3, 4):
        if round(p, places) >= 10 ** (1 - places) or places == 4:
            return f"P = {p:.{places}f}"
    raise AssertionError("unreachable")
