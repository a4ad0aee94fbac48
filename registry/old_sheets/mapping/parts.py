"""One cell, several things: diameters, counted words, volumes to add, parts in order.

Every function gives None where the text is not wholly of its form: nothing is skipped over.
"""

from __future__ import annotations

import re

from registry.problems.cell_text import clean, plain_dashes

MOST_ROWS = 60
_NUMBER = r"\d+(?:[.,]\d+)?|[.,]\d+"
_UNIT = r"[^\W\d_x×][^\W\d_]{0,5}[²³23]?"
_BETWEEN = re.compile(r"\s*(?:[x×*]|\bby\b)\s*", re.IGNORECASE)
_QUANTITY = re.compile(rf"({_NUMBER})\s*({_UNIT})?\.?", re.IGNORECASE)
_COUNT_AFTER = re.compile(r"(.+?)\s*(?:[x×*]\s*(\d{1,2})|\(\s*[x×]?\s*(\d{1,2})\s*\))")
_COUNT_BEFORE = re.compile(r"(\d{1,2})\s*[x×*]?\s*([^\W\d].*)")
# Not "/" or "and": "MCA/ACA x2" could be three pedicles or two.
_AND = re.compile(r"\s*[,;+\n]\s*")
_PLUS = re.compile(r"\s*(?:[+&;\n]|\band\b|\bplus\b)\s*", re.IGNORECASE)

Quantity = tuple[str, str]


def quantity(text: str) -> Quantity | None:
    """ "2.4cc" as ("2.4", "cc"); the unit is empty where there is none."""
    match = _QUANTITY.fullmatch(plain_dashes(clean(text)))
    return (match[1], match[2] or "") if match else None


def diameters(text: str) -> list[Quantity] | None:
    """ "3.5x2.8x3 cm" as three quantities; a unit at the end counts for those without one.

    "3 cm x 2 x 1" is not understood: the unit of the others is anybody's guess.
    """
    pieces = _all_quantities(_BETWEEN.split(plain_dashes(clean(text))))
    if not pieces:
        return None
    last = pieces[-1][1]
    if not last and any(unit for _, unit in pieces):
        return None
    return [(number, unit or last) for number, unit in pieces]


def added_up(text: str) -> list[Quantity] | None:
    """ "2.4cc + 1.1" as two quantities, each with the unit it has itself."""
    return _all_quantities(_PLUS.split(plain_dashes(text).strip()))


def _all_quantities(pieces: list[str]) -> list[Quantity] | None:
    """Every piece as a quantity; None where one of them is something else."""
    found = [quantity(piece) for piece in pieces]
    return None if None in found else [one for one in found if one is not None]


def counted(text: str) -> list[str] | None:
    """ "MCA x3, PCA x1" as MCA, MCA, MCA, PCA; None also above `MOST_ROWS` words."""
    words: list[str] = []
    for piece in _AND.split(plain_dashes(text).strip()):
        found = _one_counted(clean(piece))
        if found is None:
            return None
        words += [found[0]] * found[1]
        if len(words) > MOST_ROWS:
            return None
    return words


def _one_counted(piece: str) -> tuple[str, int] | None:
    if match := _COUNT_AFTER.fullmatch(piece):
        word, number = match[1], int(match[2] or match[3])
    elif match := _COUNT_BEFORE.fullmatch(piece):
        word, number = match[2], int(match[1])
    else:
        word, number = piece, 1
    # A figure left in the word means that the piece was not understood ("MCA x3 x2", "M1").
    return (word.strip(), number) if word.strip() and number else None


def parts(text: str, mark: str, most: int | None) -> list[str]:
    """The text split at `mark` into at most `most` parts (any number where None), none blank."""
    plain = clean(text)
    if mark.strip():
        pieces = plain.split(mark.strip(), -1 if most is None else most - 1)
    else:
        pieces = plain.split(None, -1 if most is None else most - 1)
    return [piece.strip() for piece in pieces if piece.strip()]
