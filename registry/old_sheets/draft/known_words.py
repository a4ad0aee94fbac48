"""The words of headings and cells that a draft knows (words.toml)."""

from __future__ import annotations

import re
import tomllib
import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from registry.old_sheets.mapping.entry import loose_word
from registry.old_sheets.mapping.statements import Target
from registry.schema import TABLES

_STOP = frozenset({"of", "the", "at", "in", "with", "for", "and", "after", "a", "to", "by", "on",
                   "or", "from", "date's"})
# Units stand in headings as well; they are read from there and do not name the field.
UNITS = frozenset({"cc", "ml", "mm", "cm", "min", "mins", "mgy", "gy", "s", "sec", "years", "yrs",
                   "yr", "y", "h", "hrs", "percent", "mmhg", "m", "gycm2", "cgycm2", "days"})
_ORDINALS = {"first": 1, "second": 2, "third": 3, "fourth": 4, "fifth": 5, "last": -1}
_TOKEN = re.compile(r"\d+(?:st|nd|rd|th)\b|[^\W\d_]+|\d+")


@dataclass(frozen=True)
class HeadingWords:
    """A heading as known words, the number or place it carries, and its unit.

    `number` is the figure in it ("Session 2 date"), −1 for "last", None where there is none.
    """

    words: frozenset[str]
    number: int | None
    unit: str | None


@dataclass(frozen=True)
class Vocabulary:
    """words.toml as it stands.

    `short`: short form → word; `headings`: "table.field" → headings that mean it; `left_out`:
    why → headings of columns that are no field; `values`: "table.field", or a field's type →
    value → the words that stand for it.
    """

    short: dict[str, str]
    headings: dict[str, list[str]]
    left_out: dict[str, list[str]]
    values: dict[str, dict[str, list[str]]]


@lru_cache(maxsize=1)
def vocabulary() -> Vocabulary:
    """The words that come with the package."""
    place = Path(__file__).parent / "words.toml"
    return Vocabulary(**tomllib.loads(place.read_text(encoding="utf-8")))


@lru_cache(maxsize=8192)
def heading_words(heading: str, *, unit_at_end: bool = True) -> HeadingWords:
    """A heading in the words of the vocabulary; a unit as its last word is no word of it."""
    text = re.sub(r"\b([a-z])/([a-z])\b", r"\1\2", _plain(heading))
    bracket = re.search(r"[(\[]([^()\[\]]*)[)\]]", text)
    unit = _unit(bracket[1]) if bracket else None
    if bracket and unit:
        text = text.replace(bracket[0], " ")
    if "%" in text:
        unit, text = "%", text.replace("%", " ")
    tokens = _TOKEN.findall(text)
    number = _number(tokens)
    short = vocabulary().short
    words = [
        short.get(token, token) for token in tokens
        if not token[0].isdigit() and token not in _ORDINALS and token not in _STOP
    ]
    plain_units = UNITS - {"s", "m", "y", "h"}
    if unit_at_end and len(words) > 1 and tokens[-1] in plain_units and unit is None:
        unit = tokens[-1]
        words = words[:-1]
    if text.strip().startswith("#") or text.strip() == "#":
        words.append("number")
    return HeadingWords(frozenset(words), number, unit)


def _plain(text: str) -> str:
    flat = unicodedata.normalize("NFKD", text.casefold().replace("ß", "ss"))
    return "".join(c for c in flat if not unicodedata.combining(c))


def _unit(text: str) -> str | None:
    unit = text.strip().replace(" ", "").replace("·", "").replace("²", "2")
    return text.strip() if unit in UNITS or unit == "%" else None


def _number(tokens: list[str]) -> int | None:
    for at, token in enumerate(tokens):
        after = tokens[at + 1] if at + 1 < len(tokens) else ""
        if token in _ORDINALS:
            return _ORDINALS[token]
        digits = re.match(r"\d+", token)
        # "mRS at 3 months" and "30 day mRS" carry a time, not the number of a row.
        if digits and 1 <= int(digits[0]) <= 30 and after not in {
            "month", "months", "mo", "day", "days", "d", "year", "years", "yr", "week", "weeks",
            "hours", "h", "cm", "mm",
        }:
            return int(digits[0])
    return None


@lru_cache(maxsize=1)
def _phrases() -> dict[Target, tuple[frozenset[str], ...]]:
    listed = vocabulary().headings
    found = {}
    for table in TABLES.values():
        for spec in table.fields:
            texts = [*listed.get(f"{table.name}.{spec.name}", ()), spec.label,
                     spec.name.replace("_", " ")]
            found[Target(table.name, spec.name)] = tuple(
                words for text in texts
                if (words := heading_words(text, unit_at_end=False).words))
    return found


def name_scores(heading: str) -> dict[Target, float]:
    """How well a heading names each field, from 0 to 1; fields that it does not touch are absent.

    Two sets of words are compared by the share of them that both have (Dice 1945, Ecology 26:297).
    """
    words = heading_words(heading).words
    scores = {}
    for target, phrases in _phrases().items():
        best = max((2 * len(words & phrase) / (len(words) + len(phrase)) for phrase in phrases),
                   default=0.0)
        if best > 0:
            scores[target] = best
    return scores


def left_out_because(heading: str) -> str | None:
    """Why a column with this heading is no field at all; None where it may be one."""
    words = heading_words(heading).words
    for why, texts in vocabulary().left_out.items():
        if any(words == heading_words(text).words for text in texts):
            return why
    return None


def meaning_of(word: str, target: Target) -> str | None:
    """The value of a field that a word stands for; None where nobody knows."""
    spec, loose = target.spec, loose_word(word)
    listed = vocabulary().values
    for name in (str(target), spec.type):
        for value, texts in listed.get(name, {}).items():
            if loose == value.casefold() or loose in texts:
                return value
    if spec.type == "choice":
        return _by_beginning(loose, spec.values)
    return None


def _by_beginning(word: str, values: tuple[str, ...]) -> str | None:
    """The one value that begins with a cut word of three letters or more ("front.")."""
    stem = word.rstrip(".")
    found = [value for value in values if value.casefold().startswith(stem)]
    return found[0] if len(stem) >= 3 and len(found) == 1 else None
