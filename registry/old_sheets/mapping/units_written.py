"""Units that services write, and what they come to in the units of the schema.

The factors are exact: SI prefixes, the litre, the minute and the hour. Dose–area product in
µGy·m² is 0.01 Gy·cm² (1 m² is 10⁴ cm²).
"""

from __future__ import annotations

from decimal import Decimal

from registry.problems.cell_text import clean

_FACTORS: dict[str, dict[str, str]] = {
    "mm": {"mm": "1", "millimetre": "1", "cm": "10", "centimetre": "10", "m": "1000"},
    "mL": {"ml": "1", "cc": "1", "cm3": "1", "µl": "0.001", "ul": "0.001", "l": "1000",
           "dl": "100"},
    "min": {"min": "1", "mins": "1", "minutes": "1", "m": "1", "h": "60", "hr": "60", "hrs": "60",
            "hours": "60"},
    "s": {"s": "1", "sec": "1", "secs": "1", "seconds": "1", "min": "60", "mins": "60",
          "minutes": "60"},
    "h": {"h": "1", "hr": "1", "hrs": "1", "hours": "1", "d": "24", "day": "24", "days": "24"},
    "years": {"years": "1", "year": "1", "yrs": "1", "yr": "1", "y": "1", "yo": "1", "y/o": "1"},
    "nights": {"nights": "1", "night": "1"},
    "mGy": {"mgy": "1", "gy": "1000", "cgy": "10", "µgy": "0.001"},
    "Gy": {"gy": "1", "cgy": "0.01", "mgy": "0.001"},
    "Gy·cm²": {"gycm2": "1", "gy·cm²": "1", "mgycm2": "0.001", "cgycm2": "0.01",
               "dgycm2": "0.1", "µgym2": "0.01", "ugym2": "0.01"},
    "%": {"%": "1", "percent": "1", "per cent": "1", "share": "100"},
    "units": {"units": "1", "unit": "1", "u": "1"},
    "mmHg": {"mmhg": "1"},
    "sessions": {"sessions": "1", "session": "1"},
}
# Factors that no finite decimal gives are divisions.
_DIVISORS: dict[str, dict[str, int]] = {
    "min": {"s": 60, "sec": 60},
    "years": {"months": 12, "mo": 12},
}


def unit_key(unit: str) -> str:
    """A unit as it is compared: small letters, no spaces or dots, ² and ³ as figures."""
    text = clean(unit).casefold().replace("²", "2").replace("³", "3").replace("μ", "µ")
    return text.rstrip(".").replace("*", "").replace("·", "").replace(" ", "")


def knows(unit: str, field_unit: str) -> bool:
    """Whether `unit` can be converted to the unit of a field."""
    return convert(Decimal(1), unit, field_unit) is not None


def convert(value: Decimal, unit: str, field_unit: str) -> Decimal | None:
    """`value` in `unit` as a number in `field_unit`; None where the unit is not known."""
    wanted = unit_key(unit)
    if wanted == unit_key(field_unit):
        return value
    for name, factor in _FACTORS.get(field_unit, {}).items():
        if unit_key(name) == wanted:
            return value * Decimal(factor)
    for name, divisor in _DIVISORS.get(field_unit, {}).items():
        if unit_key(name) == wanted:
            return value / divisor
    return None


def known_units(field_unit: str) -> tuple[str, ...]:
    """The units that can be converted to a field's unit, for a sentence."""
    return (*_FACTORS.get(field_unit, {}), *_DIVISORS.get(field_unit, {}))
