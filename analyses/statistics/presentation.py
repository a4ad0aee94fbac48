"""Which proportions are too imprecise to stand without a warning.

The rule of the US National Center for Health Statistics, Data Presentation Standards for
Proportions, Series 2 No 175 (2017), as the Centers for Disease Control's own R package
surveytable works it out: effective number under 30, or a 95 % interval 0.30 wide or wider, or a
relative width above 130 % where the width is above 0.05. NCHS suppresses such a figure; here it
is printed with the flag, because the service needs its own counts.
"""

from __future__ import annotations

from analyses.words.flags import FEW_UNITS, SMALL_EFFECTIVE_N, WIDE, WIDE_RELATIVE

FEWEST_UNITS = 5
SMALLEST_EFFECTIVE_N = 30
NARROW, WIDEST, WIDEST_RELATIVE = 0.05, 0.30, 1.30


def few_units(n: int) -> tuple[str, ...]:
    """The flag of a cell under 5 units (common practice, no source)."""
    return (FEW_UNITS,) if 0 < n < FEWEST_UNITS else ()


def presentation_flags(
    value: float, low: float, high: float, effective_n: float
) -> tuple[str, ...]:
    """Flags for a proportion with its 95 % interval (all from 0 to 1) and effective number.

    The relative width has no meaning at no events and is not judged there.
    """
    flags = () if effective_n >= SMALLEST_EFFECTIVE_N else (SMALL_EFFECTIVE_N,)
    width = high - low
    if width >= WIDEST:
        return (*flags, WIDE)
    if width > NARROW and value > 0 and width / value > WIDEST_RELATIVE:
        return (*flags, WIDE_RELATIVE)
    return flags


def presentable_width(risk: float) -> float:
    """The widest 95 % interval about this risk (0 to 1) that the rule lets stand unflagged."""
    return min(max(NARROW, WIDEST_RELATIVE * risk), 0.999 * WIDEST)
