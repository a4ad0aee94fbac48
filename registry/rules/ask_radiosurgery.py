"""Queries on radiosurgery: the dose against the number of fractions and the volume."""

from __future__ import annotations

from registry.rules.columns import figure, sure
from registry.rules.finding import Hits, Tables, query
from registry.rules.words import column
from registry.schema import Radiosurgeries

SINGLE_LEAST_GY, SINGLE_MOST_GY = 12.0, 27.0
"""Margin doses of one fraction (16–25 Gy is usual; common practice, no source)."""
FRACTION_LEAST_GY = 3.0
"""Least dose a fraction of a treatment in 2–10 fractions (common practice, no source)."""
LARGE_ML, LARGE_MOST_GY = 15.0, 20.0
"""A target this large gets less in one fraction, or is treated in stages (common practice, no
source)."""


@query("dose does not fit the fractions")
def dose_against_fractions(tables: Tables) -> Hits:
    """A dose of several fractions given in one, or one of one given in several."""
    rows = tables["radiosurgeries"]
    dose, fractions = rows[Radiosurgeries.margin_dose_gy], rows[Radiosurgeries.fractions]
    one = sure(fractions == 1) & sure((dose < SINGLE_LEAST_GY) | (dose > SINGLE_MOST_GY))
    several = sure(fractions > 1) & sure(dose / fractions < FRACTION_LEAST_GY)
    rows = rows[one | several]
    return Hits(
        "radiosurgeries", rows, Radiosurgeries.margin_dose_gy,
        "margin dose " + figure(rows[Radiosurgeries.margin_dose_gy]) + " Gy in "
        + figure(rows[Radiosurgeries.fractions]) + " fraction(s)",
        f"{SINGLE_LEAST_GY:g}–{SINGLE_MOST_GY:g} Gy in one fraction, at least "
        f"{FRACTION_LEAST_GY:g} Gy each in several; the dose is that of all fractions together",
        f"correct the dose or {column('radiosurgeries', Radiosurgeries.fractions)}",
    )


@query("dose does not fit the volume")
def dose_against_volume(tables: Tables) -> Hits:
    """A high dose in one fraction to a large target."""
    rows = tables["radiosurgeries"]
    rows = rows[
        sure(rows[Radiosurgeries.fractions] == 1)
        & sure(rows[Radiosurgeries.target_volume_ml] > LARGE_ML)
        & sure(rows[Radiosurgeries.margin_dose_gy] > LARGE_MOST_GY)
    ]
    return Hits(
        "radiosurgeries", rows, Radiosurgeries.target_volume_ml,
        "margin dose " + figure(rows[Radiosurgeries.margin_dose_gy]) + " Gy in one fraction to "
        + figure(rows[Radiosurgeries.target_volume_ml]) + " mL",
        f"{LARGE_MOST_GY:g} Gy at most in one fraction to more than {LARGE_ML:g} mL",
        "correct the dose, the volume (mL, not mm or cm across) or the fractions",
    )
