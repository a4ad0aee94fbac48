"""A cell → yes or no, a listed value, or a code."""

from __future__ import annotations

import difflib
import re
import unicodedata
from functools import lru_cache
from typing import Any

from registry.intake.cell import Cell, Remark, fault, or_blank, shown
from registry.privacy.free_text import points_to_person
from registry.problems.cell_text import as_text, clean, plain_dashes
from registry.schema import FieldSpec

_YES = frozenset({"yes", "y", "true"})
_NO = frozenset({"no", "n", "false"})
# Only what already looks like a mistyped code is repeated on the screen: anything else might
# be a name or a hospital number.
_LIKE_A_CODE = re.compile(r"[A-Za-z]{1,4}[\W_]{0,3}\d{1,6}|[A-Za-z]{1,6}")
_LIKE_A_STUDY_CODE = re.compile(r"[A-Za-z]{1,4}[\W_]{0,3}\d{1,6}")


def read_yes_no(raw: Any, spec: FieldSpec) -> Cell:
    """A cell of a yes/no field, as bool. 1 and 0 are not taken: 1 and 2 are in use as well."""
    if isinstance(raw, bool):
        return Cell(raw)
    word = clean(as_text(raw)).casefold()
    if isinstance(raw, str) and word in _YES | _NO:
        return Cell(word in _YES)
    return fault("not-yes-no", raw, spec.wanted, f"write yes or no{or_blank(spec)}")


def read_choice(raw: Any, spec: FieldSpec) -> Cell:
    """A cell of a choice field, as the listed value; letter case, spaces, hyphens are ignored."""
    text = clean(as_text(raw))
    if text in spec.values:
        return Cell(text)
    listed = _by_key(spec.values)
    if (value := listed.get(_key(text))) is not None:
        return Cell(value)
    near = difflib.get_close_matches(_key(text), list(listed), n=1, cutoff=0.6)
    mend = (
        f'the nearest is "{listed[near[0]]}": write that if it is meant' if near
        else "choose one from the list"
    )
    return fault("not-in-list", raw, spec.wanted, mend)


def read_text(raw: Any, spec: FieldSpec) -> Cell:
    """A cell of a text field; a code is taken in small letters or with another dash too."""
    text = clean(as_text(raw))
    if spec.free and (kind := points_to_person(text)):
        return _pointing(kind, spec)
    if not spec.pattern or re.fullmatch(spec.pattern, text):
        return Cell(text)
    code = plain_dashes(text).upper()
    if re.fullmatch(spec.pattern, code):
        return Cell(code)
    found = shown(raw) if may_repeat(text, spec) else (
        f"{len(text)} characters that are no such code (not repeated here: they might name "
        "a person)"
    )
    return Cell(None, (Remark("error", "wrong-form", found, spec.wanted,
                              "give the code in that form"),))


def _pointing(kind: str, spec: FieldSpec) -> Cell:
    """Text in a person's own words that could lead to somebody."""
    return Cell(None, (Remark(
        "error", "points to a person", f"words with what looks like {kind} (not repeated here)",
        spec.wanted, "say it without: a role instead of a name, days from the session instead of "
        "a date",
    ),))


def may_repeat(text: str, spec: FieldSpec) -> bool:
    """Whether a cell that should hold a code can be shown or kept without naming a person."""
    if not spec.pattern:
        return True
    like = _LIKE_A_STUDY_CODE if r"\d" in spec.pattern else _LIKE_A_CODE
    return bool(like.fullmatch(clean(text)))


@lru_cache(maxsize=1024)
def _by_key(values: tuple[str, ...]) -> dict[str, str]:
    """Loose key → listed value; keys that two values share are left out."""
    keys = [_key(value) for value in values]
    return {
        key: value for key, value in zip(keys, values, strict=True) if keys.count(key) == 1
    }


def _key(text: str) -> str:
    folded = unicodedata.normalize("NFKC", plain_dashes(text)).casefold()
    return re.sub(r"[\s_\-]+", "", folded)
