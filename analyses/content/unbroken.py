"""Numbers that stay on one line with their sign or unit, in every document.

Estimates and sentences are written with plain spaces; the renderers put a no-break space where
a line must not end. A range may be parted after its dash, as is common practice (no source):
a sign that forbids it would no longer be found when the text is searched.
"""

from __future__ import annotations

import re
from functools import cache

from registry.schema import TABLES

NO_BREAK = "\N{NO-BREAK SPACE}"
_MORE_UNITS = ("mL/min", "cm")


def unbroken(text: str) -> str:
    """The text with no-break spaces between a number and the per cent sign or unit after it."""
    return _places().sub(lambda found: found[0].replace(" ", NO_BREAK), text)


@cache
def _places() -> re.Pattern[str]:
    """A number's last sign, a space, and a per cent sign or a symbol among the schema's units."""
    units = {field.unit for spec in TABLES.values() for field in spec.fields if field.unit}
    # What is counted in words (nights, sessions) may stand on the next line.
    symbols = {unit for unit in units if unit == "s" or not unit.endswith("s")} - {"%"}
    longest_first = sorted({*symbols, *_MORE_UNITS}, key=lambda unit: (-len(unit), unit))
    names = "|".join(map(re.escape, longest_first))
    return re.compile(rf"(?<=[\d?∞]) (?:%|(?:{names})(?!\w))")
