"""Queries on sizes and amounts that look like another unit."""

from __future__ import annotations

from registry.rules.ask_patients import DIAMETERS, diameters_in_words
from registry.rules.columns import figure, sure
from registry.rules.finding import Hits, Tables, query
from registry.schema import Lesions, Resections

LEAST_NIDUS_MM = 5.0
"""A largest diameter below is that of hardly any nidus somebody treated (common practice, no
source)."""
CENTIMETRE_MM = 10.0
"""Nidi are rarely smaller, and in centimetres nearly always (common practice, no source)."""
LEAST_BLOOD_LOSS_ML = 10.0
"""An open operation loses more (common practice, no source): litres or units typed?"""
OTHERS = 5
"""Lesions beside it before "most others" means anything."""


@query("nidus under 5 mm")
def nidus_too_small(tables: Tables) -> Hits:
    """A largest diameter under 5 mm."""
    rows = tables["lesions"]
    rows = rows[sure(rows[Lesions.nidus_length_mm] < LEAST_NIDUS_MM)]
    return Hits(
        "lesions", rows, Lesions.nidus_length_mm, diameters_in_words(rows),
        f"diameters in millimetres; a largest one under {LEAST_NIDUS_MM:g} mm is rare",
        "correct the unit, if these are centimetres",
    )


@query("diameters in centimetres?")
def diameters_in_centimetres(tables: Tables) -> Hits:
    """Every diameter under 10 mm where most other lesions have one of 10 mm or more.

    A largest diameter under 5 mm is asked about anyway.
    """
    lesions = tables["lesions"]
    largest = lesions[list(DIAMETERS)].astype("float64").max(axis=1)
    small = sure(largest < CENTIMETRE_MM)
    known = int(largest.notna().sum())
    usual = known - int(small.sum())
    most = known > OTHERS and usual > (known - 1) / 2
    rows = lesions[small & sure(lesions[Lesions.nidus_length_mm] >= LEAST_NIDUS_MM) & most]
    return Hits(
        "lesions", rows, Lesions.nidus_length_mm,
        diameters_in_words(rows)
        + f"; {usual} of {known} lesions have a diameter of {CENTIMETRE_MM:g} mm or more",
        "diameters in millimetres", "correct the unit, if these are centimetres",
    )


@query("blood loss under 10 mL")
def blood_loss_too_small(tables: Tables) -> Hits:
    """Less blood lost than any open operation loses."""
    rows = tables["resections"]
    rows = rows[sure(rows[Resections.blood_loss_ml] < LEAST_BLOOD_LOSS_ML)]
    return Hits(
        "resections", rows, Resections.blood_loss_ml,
        "blood loss " + figure(rows[Resections.blood_loss_ml]) + " mL",
        "blood loss in millilitres", "correct the unit (litres?), or leave it blank if unknown",
    )
