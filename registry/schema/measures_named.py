"""Fields that name a measure of the analyses and its unit.

The registry knows no measures: it checks the form of the name alone. Whoever works the measure
out says where there is none of that name.
"""

from __future__ import annotations

from registry.schema.fields import Column, choice, text

UNITS = ("injection", "session", "lesion", "patient", "catheter")


def measure_named(definition: str, *, required: bool = False) -> Column:
    """A field that names a measure, such as complication.any."""
    return text(
        "Measure", definition, required=required,
        pattern=r"^[a-z][a-z0-9_]*(\.[a-z0-9_]+)+$",
        pattern_words="the name of a measure, such as complication.any",
        example="complication.any",
    )


def unit_named(*, required: bool = False) -> Column:
    """A field that names the unit in which a measure is counted."""
    return choice(
        "Unit of the measure", "What the measure is counted of.", UNITS, required=required,
    )
