"""A cell → a number.

A decimal comma is taken where it can mean nothing else; "1,500" could be 1.5 or 1500 and is
asked about. A unit after the number is taken only when it is the field's own.
"""

from __future__ import annotations

import math
import re
from decimal import Decimal
from typing import Any

from registry.intake.cell import Cell, Remark, fault, or_blank, shown
from registry.problems.cell_text import clean, plain_dashes
from registry.schema import FieldSpec

_PLAIN = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_COMMA = re.compile(r"[+-]?\d+,\d+")
_EITHER = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}")
_THOUSANDS_DOT = re.compile(r"[+-]?\d{1,3}(,\d{3})+\.\d+")
_THOUSANDS_COMMA = re.compile(r"[+-]?\d{1,3}(\.\d{3})+,\d+")
_NUMBER_THEN_UNIT = re.compile(r"([+-]?[\d.,]*\d[.,]?)\s*([^\d\s.,].*)")

LARGEST = 2**53  # beyond this a spreadsheet's number no longer holds every whole number


def read_number(raw: Any, spec: FieldSpec, *, comma_decimals: bool = False) -> Cell:
    """A cell of an int or number field, as int or float in the field's unit.

    `comma_decimals` says that the source writes decimal commas elsewhere: then "1.500" could be
    thousands and is asked about too.
    """
    if isinstance(raw, bool) or not isinstance(raw, int | float | str):
        return fault("not-a-number", raw, spec.wanted, _mend_type(spec, raw))
    if isinstance(raw, str):
        return _from_text(raw, spec, comma_decimals)
    return _checked(float(raw), raw, spec)


def writes_decimal_comma(raw: Any) -> bool:
    """Whether a cell is text with a comma that can only be a decimal comma."""
    if not isinstance(raw, str):
        return False
    text = clean(raw)
    return bool(
        _THOUSANDS_COMMA.fullmatch(text) or (_COMMA.fullmatch(text) and not _EITHER.fullmatch(text))
    )


def _from_text(raw: str, spec: FieldSpec, comma_decimals: bool) -> Cell:
    text, unit = _without_unit(plain_dashes(clean(raw)), spec.unit)
    if unit:
        return fault(
            "not-a-number", raw, spec.wanted,
            f"write the number alone, worked out in {spec.unit}" if spec.unit
            else "write the number alone",
        )
    if _EITHER.fullmatch(text) and ("," in text or comma_decimals):
        return _either_way(raw, text, spec)
    plain = _with_point(text)
    if plain is None:
        return fault("not-a-number", raw, spec.wanted, _mend_type(spec, raw))
    cell = _checked(float(plain), raw, spec)
    if "," in text and not cell.faulty and text.rindex(",") > text.rfind("."):
        return Cell(cell.value, (*cell.remarks, _comma_taken(raw, cell.value)))
    return cell


def _without_unit(text: str, unit: str) -> tuple[str, str]:
    """The number and what follows it; the field's own unit counts as nothing following."""
    split = _NUMBER_THEN_UNIT.fullmatch(text)
    if not split or _PLAIN.fullmatch(text):
        return text, ""
    number, after = split.groups()
    own = bool(unit) and after.casefold().replace(" ", "") == unit.casefold().replace(" ", "")
    return (number, "") if own else (number, after)


def _with_point(text: str) -> str | None:
    """`text` with a decimal point and no thousands marks; None if it is not a number."""
    if _PLAIN.fullmatch(text):
        return text
    if _THOUSANDS_DOT.fullmatch(text):
        return text.replace(",", "")
    if _THOUSANDS_COMMA.fullmatch(text):
        return text.replace(".", "").replace(",", ".")
    return text.replace(",", ".") if _COMMA.fullmatch(text) else None


def _either_way(raw: str, text: str, spec: FieldSpec) -> Cell:
    digits = text.replace(",", "").replace(".", "")
    small = f"{float(text.replace(',', '.')):g}"
    return fault(
        "ambiguous-number", raw, spec.wanted,
        f"write {small} or {digits}, whichever is meant, without a mark between thousands",
    )


def _comma_taken(raw: str, value: float) -> Remark:
    return Remark(
        "query", "decimal-comma", shown(raw), "a decimal point",
        f"nothing, if {value:g} is meant: commas of this kind were taken as decimal points",
    )


def _checked(value: float, raw: Any, spec: FieldSpec) -> Cell:
    """`value` if it is whole where it has to be and within the field's limits."""
    if not math.isfinite(value) or abs(value) > LARGEST:
        return fault("out-of-range", raw, spec.wanted, "type the value again")
    if spec.type == "int" and not value.is_integer():
        return fault("not-whole", raw, spec.wanted, "give a whole number")
    if _outside(value, spec):
        return fault(
            "out-of-range", raw, spec.wanted,
            f"check the value{' and its unit' if spec.unit else ''} and type it again",
        )
    return Cell(int(value) if spec.type == "int" else value, _share(value, raw, spec))


def _outside(value: float, spec: FieldSpec) -> bool:
    return (
        (spec.minimum is not None and value < spec.minimum)
        or (spec.above is not None and value <= spec.above)
        or (spec.maximum is not None and value > spec.maximum)
    )


def _share(value: float, raw: Any, spec: FieldSpec) -> tuple[Remark, ...]:
    """A spreadsheet stores 80 % as 0.8: a share that small is asked about, not guessed."""
    if spec.unit != "%" or not 0 < value <= 1:
        return ()
    hundredfold = Decimal(str(value)) * 100
    return (
        Remark(
            "query", "share-or-percent", f"{shown(raw)} in a column of percentages",
            spec.wanted, f"write {hundredfold.normalize():f} if {hundredfold.normalize():f} % "
            "is meant; otherwise leave it",
        ),
    )


def _mend_type(spec: FieldSpec, raw: Any) -> str:
    if not isinstance(raw, str | bool):
        return (
            "the spreadsheet took it for a date or a time: set the cell's format to number and "
            "type the number again"
        )
    return f"type one number in figures{or_blank(spec)}"
