"""How numbers are written: digits, signs and ranges, the same in every text and table.

Common practice, no source: per cent to one decimal, two under 1 %; nothing that is not zero is
ever written as zero, and nothing that is not 100 % as 100.
"""

from __future__ import annotations

import math

MINUS = "\N{MINUS SIGN}"
DASH = "\N{EN DASH}"
INFINITY = "\N{INFINITY}"
SMALLEST = 0.001


def with_sign(text: str) -> str:
    """The typographer's minus in place of the hyphen."""
    return text.replace("-", MINUS)


def whole(number: float) -> str:
    """A count with thousands apart: 6074 -> "6,074"."""
    return with_sign(f"{round(number):,}")


def percent(share: float) -> str:
    """A share from 0 to 1 as per cent without the sign: 0.0769 -> "7.7", 0.0009 -> "0.09"."""
    value = 100 * share
    if value in (0.0, 100.0):
        return f"{value:.0f}"
    if not 0 < value < 100:
        return with_sign(_one_decimal(value))
    if value > 100 - SMALLEST:
        return f">{100 - SMALLEST}"
    if value >= 99.95:
        return f"{value:.{_first_digit(100 - value)}f}"
    return _one_decimal(value)


def points(difference: float) -> str:
    """A difference of shares (-1 to 1) in percentage points, without the words; one decimal."""
    size = abs(100 * difference)
    places = 1 if size == 0 or round(size, 1) > 0 else _first_digit(size)
    return "0" if size == 0 else with_sign(f"{100 * difference:.{places}f}")


def quantity(number: float) -> str:
    """A rate or another continuous number: one decimal, two under 1, none from 1,000 on."""
    return "0" if number == 0 else with_sign(_one_decimal(number))


def ratio(number: float) -> str:
    """A ratio: two decimals, one from 10 on, more under 0.1 so that it is never 0.00."""
    size = abs(number)
    if size < SMALLEST or math.isinf(size) or size >= 10:
        return quantity(number)
    return with_sign(f"{number:.{2 if size >= 0.1 else _first_digit(size) + 1}f}")


def measured(*numbers: float | None) -> tuple[str, ...]:
    """Measurements that stand together (a median and its bounds), all to the same decimals.

    Three significant digits of the first, and no decimals that are zero in all of them.
    """
    finite = [n for n in numbers if n is not None and math.isfinite(n)]
    first = max((abs(n) for n in finite[:1]), default=0.0)
    most = 2 if first == 0 else max(0, 2 - math.floor(math.log10(first)))
    places = next(
        d for d in range(most + 1)
        if d == most or all(round(n, most) == round(n, d) for n in finite)
    )
    return tuple(_fixed(n, places) for n in numbers)


def span(low: str, high: str) -> str:
    """Two written bounds as a range; "to" where a sign would run into the dash."""
    if MINUS in low or MINUS in high:
        return f"{low} to {high}"
    return f"{low}{DASH}{high}"


def _fixed(number: float | None, places: int) -> str:
    if number is None:
        return "?"
    if math.isinf(number):
        return INFINITY if number > 0 else MINUS + INFINITY
    return with_sign(f"{number:,.{places}f}")


def _one_decimal(number: float) -> str:
    """One decimal, two under 1, more where it would else be 0.00; none from 1,000 on."""
    size = abs(number)
    if math.isinf(size):
        return INFINITY if number > 0 else "-" + INFINITY
    if size >= 1000:
        return f"{number:,.0f}"
    if size < SMALLEST:
        return f"<{SMALLEST}" if number > 0 else f">-{SMALLEST}"
    # Judged after rounding, so that 0.996 becomes 1.0 and not 1.00.
    if round(size, 2) >= 1:
        return f"{number:.1f}"
    return f"{number:.{2 if round(size, 2) > 0 else _first_digit(size)}f}"


def _first_digit(size: float) -> int:
    """Decimals that show the first digit that is not zero: 0.0042 -> 3."""
    return max(0, -math.floor(math.log10(size)))
