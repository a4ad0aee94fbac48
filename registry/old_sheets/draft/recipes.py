"""How the cells of a column could be read as a field: the statements to try, and their words."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from registry.old_sheets.draft.known_words import heading_words, meaning_of
from registry.old_sheets.mapping.entry import loose_word
from registry.old_sheets.mapping.parts import counted, diameters, parts
from registry.old_sheets.mapping.statements import ColumnPlan, Target
from registry.old_sheets.mapping.units_written import knows
from registry.problems.cell_text import clean
from registry.schema import Injections, Lesions

_DIAMETERS = tuple(Target("lesions", f"nidus_{side}_mm") for side in ("length", "width", "height"))
_PLACE = (Target("lesions", "side"), Target("lesions", "location"))
_ROMAN = {"i": 1, "ii": 2, "iii": 3, "iv": 4, "v": 5, "vi": 6}
_LAST_FIGURE = re.compile(r"([^\d]*?)\s*(\d{1,2})")


def recipes(heading: str, target: Target, values: Counter[Any]) -> Iterator[ColumnPlan]:
    """Ways of reading a column with these cells as `target`, the plainest first."""
    unit = heading_words(heading).unit
    plain = ColumnPlan(0, heading, targets=(target,), unit=_unit(unit, target))
    texts = [value for value in values if isinstance(value, str)]
    yield replace(plain, words=_words(heading, target, values))
    if target == _DIAMETERS[0] and any(
        (found := diameters(text)) and len(found) > 1 for text in texts
    ):
        yield replace(plain, targets=_DIAMETERS, split="diameters", largest_first=True)
    if target in _PLACE and any(" " in clean(text) for text in texts):
        yield replace(plain, targets=_PLACE, split="parts", words=_place_words(texts))
    if target.field == Injections.feeding_artery and any(
        (counted(text) or [""])[1:] for text in texts
    ):
        yield replace(plain, split="counted", words=_counted_words(target, texts))
    if target.spec.type == "number" and any("+" in text for text in texts):
        yield replace(plain, split="added up")


def _unit(unit: str | None, target: Target) -> str | None:
    spec = target.spec
    if unit is None or not spec.unit or not knows(unit, spec.unit):
        return None
    return unit


def _words(heading: str, target: Target, values: Counter[Any]) -> dict[str, Any]:
    """Words for the cells that the field itself does not read."""
    found = {}
    for value in values:
        word = loose_word(value)
        if not word or len(word) > 40:
            continue
        meaning = _number_word(heading, word, target) if target.spec.type == "int" \
            else meaning_of(word, target)
        # 0 and 1 stand for no and yes only where there is nothing but them.
        numeric = word in {"0", "1"} and target.spec.type == "yes/no"
        if meaning is not None and loose_word(meaning) != word and not (
            numeric and any(loose_word(v) in {"2", "3"} for v in values)
        ):
            found[word] = meaning
    return found


def _number_word(heading: str, word: str, target: Target) -> int | None:
    """ "IV" in a column of grades is 4; "mRS 2" under mRS is 2."""
    if target.field == Lesions.sm_grade_recorded:
        last = word.split()[-1]
        if last in _ROMAN:
            return _ROMAN[last]
    match = _LAST_FIGURE.fullmatch(word)
    if match and match[1].strip():
        own = heading_words(match[1]).words
        if own and own <= heading_words(heading).words | heading_words(target.spec.label).words:
            return int(match[2])
    return None


def _place_words(texts: list[str]) -> dict[str, Any]:
    found = {}
    for text in texts:
        pieces = parts(text, " ", 2)
        for target, piece in zip(_PLACE, pieces, strict=False):
            meaning = meaning_of(piece, target)
            if meaning is not None and loose_word(meaning) != loose_word(piece):
                found[loose_word(piece)] = meaning
    return found


def _counted_words(target: Target, texts: list[str]) -> dict[str, Any]:
    found = {}
    for text in texts:
        for piece in counted(text) or ():
            meaning = meaning_of(piece, target)
            if meaning is not None and loose_word(meaning) != loose_word(piece):
                found[loose_word(piece)] = meaning
    return found
