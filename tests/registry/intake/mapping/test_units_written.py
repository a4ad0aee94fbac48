"""What a number in another unit comes to, by hand; SI prefixes (BIPM, SI Brochure, table 7)."""

from __future__ import annotations

from decimal import Decimal

import pytest

from registry.old_sheets.mapping.units_written import convert, knows


@pytest.mark.parametrize(("value", "unit", "field", "wanted"), [
    # Air kerma: a gray is 1,000 milligray.
    ("2.5", "Gy", "mGy", "2500"), ("2.5", "cGy", "mGy", "25"), ("2500", "µGy", "mGy", "2.5"),
    ("2500", "mGy", "mGy", "2500"),
    # Margin dose.
    ("20", "Gy", "Gy", "20"), ("2000", "cGy", "Gy", "20"), ("20000", "mGy", "Gy", "20"),
    # Dose–area product: 1 m² is 10,000 cm², so 1 µGy·m² is 0.01 Gy·cm².
    ("150", "Gy·cm²", "Gy·cm²", "150"), ("15000", "µGy·m²", "Gy·cm²", "150"),
    ("15000", "uGy*m2", "Gy·cm²", "150"), ("150000", "mGy·cm²", "Gy·cm²", "150"),
    ("15000", "cGy·cm²", "Gy·cm²", "150"), ("1500", "dGy cm2", "Gy·cm²", "150"),
    # Lengths, volumes, times.
    ("3.5", "cm", "mm", "35"), ("0.035", "m", "mm", "35"),
    ("1.5", "cc", "mL", "1.5"), ("1500", "µL", "mL", "1.5"), ("0.3", "L", "mL", "300"),
    ("3", "dL", "mL", "300"),
    ("2", "h", "min", "120"), ("90", "s", "min", "1.5"), ("2", "min", "s", "120"),
    ("2", "days", "h", "48"), ("18", "months", "years", "1.5"), ("0.8", "share", "%", "80"),
])
def test_units_by_hand(value: str, unit: str, field: str, wanted: str) -> None:
    assert convert(Decimal(value), unit, field) == Decimal(wanted)


@pytest.mark.parametrize(("unit", "field"), [("mL", "mm"), ("Gy·cm²", "mGy"), ("mGy", "Gy·cm²")])
def test_a_unit_of_something_else_is_not_known(unit: str, field: str) -> None:
    assert not knows(unit, field)
    assert convert(Decimal(1), unit, field) is None
