"""Content that names a person: recognised by its form, never repeated.

Errs on the side of refusing: a cell taken for an identifier by mistake is reported and can be
corrected; one that slips through cannot be called back. Common practice, no source: the forms
are those of the direct identifiers of HIPAA's Safe Harbor method (45 CFR 164.514(b)(2)) that a
cell of a table can carry.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Any

from registry.privacy.kinds import (
    ADDRESS,
    BIRTH,
    EMAIL,
    HOSPITAL_NUMBER,
    LONG_NUMBER,
    NAME,
    NATIONAL_NUMBER,
    TELEPHONE,
)
from registry.problems.cell_text import clean, plain_dashes

_EMAIL = re.compile(r"[\w.+-]+@[\w-]+\.[\w.-]+")
_BIRTH = re.compile(
    r"\b(?:d\.?o\.?b\.?|born|date of birth|geb\.?|née?)\b[\s:.]*(?:on\s+)?\d", re.IGNORECASE)
_NATIONAL = re.compile(
    r"\b\d{3}-\d{2}-\d{4}\b|\b\d{3} \d{3} \d{4}\b|\b\d{6}[- ]\d{4}\b"
    r"|\b[A-Z]{2} ?\d{2} ?\d{2} ?\d{2} ?[A-Z]\b|\b756\.\d{4}\.\d{4}\.\d{2}\b")
_TELEPHONE = re.compile(
    r"(?<![\w.])(?:\+\d{1,3}|\(0?\d{1,5}\)|0\d{1,4})[\s./-]*\d(?:[\s./()-]*\d){5,12}(?![\w.])"
    r"|(?<![\w.])\d{3}[-. ]\d{3}[-. ]\d{4}(?![\w.])")
_LABELLED = re.compile(
    r"\b(?:mrn|hosp(?:ital)?|pat(?:ient)?|unit|chart|record|nhs)\.?\s*(?:no|nr|number|id|#)?\.?"
    r"\s*[:#]?\s*[A-Z]{0,3}\d{5,}", re.IGNORECASE)
_LONG = re.compile(r"(?<![\d.,])[A-Z]{0,3}(\d{6,})(?![\d.,]*\d)")
# Days and clock times are taken away before numbers are looked for.
_DATES = re.compile(
    r"(?<!\d)(?:\d{4}[-/. ]\d{1,2}[-/. ]\d{1,2}|[0-3]?\d[-/.][0-3]?\d[-/.](?:\d{4}|\d{2}))(?!\d)"
    r"|(?<!\d)\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?")
_STUDY_CODE = re.compile(r"[A-Z]{1,4}-\d{3,6}")
_DAY = re.compile(r"(?:19|20)\d\d(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01])")
_STREET = re.compile(
    r"\b\d{1,4}[a-z]?,?\s+[A-Z][\w'-]+\s+(?i:street|st|road|rd|avenue|ave|lane|drive|close|way|"
    r"court|square|place)\b|\b[A-Z][\w-]*(?:strasse|straße|str\.|weg|gasse|platz)\s+\d|"
    r"\b(?i:rue|via|calle|rua|avenida)\s+(?:de\s+|della?\s+|la\s+)?[A-Z]\w+\s*,?\s+\d")
_POSTCODE = re.compile(r"\b[A-Z]{1,2}\d[A-Z\d]? \d[A-Z]{2}\b")
_TITLE = re.compile(
    r"\b(?i:mr|mrs|ms|mx|dr|prof|sra|herr|frau|mme|madame|monsieur|signora|dhr|mevr)"
    r"\b\.?\s+(?:[A-Z]\.?\s+)?[A-ZÀ-Þ][\w'’-]+")
_WORD_PAIR = re.compile(
    r"[A-ZÀ-Þ][a-zß-ÿ'’-]+,?\s+[A-ZÀ-Þ][a-zß-ÿ'’-]+|[A-ZÀ-Þ]{2,},\s*[A-ZÀ-Þ]\w+")
# A few of the most frequent given names of several languages; they belong to nobody in
# particular. A capital letter is asked for, because some are words as well.
_GIVEN = frozenset((
    "John", "James", "Robert", "Michael", "William", "David", "Thomas", "Charles", "Daniel",
    "Paul", "Peter", "Mary", "Anna", "Anne", "Maria", "Linda", "Susan", "Sarah", "Karen", "Emma",
    "Laura", "Julia", "Jose", "Juan", "Carlos", "Luis", "Antonio", "Francisco", "Carmen",
    "Giuseppe", "Giovanni", "Hans", "Klaus", "Wolfgang", "Ursula", "Pierre", "Jean", "Michel",
    "Marie", "Nathalie", "Ali", "Mohammed", "Muhammad", "Ahmed", "Fatima", "Aisha", "Chen", "Wei",
    "Ming", "Hiroshi", "Yuki", "Priya", "Raj", "Ivan", "Olga", "Elena", "Johanna", "Erik", "Lars",
))


def identifying_content(raw: Any) -> str | None:
    """The kind of direct identifier a cell carries, in words; None where none is recognised.

    `raw` is a cell as the source holds it. Dates and times by themselves identify nobody here: a
    date of birth is known by its heading, or by the word beside it.
    """
    if isinstance(raw, bool) or raw is None:
        return None
    if isinstance(raw, int | float):
        return _of_number(float(raw))
    return _of_text(raw) if isinstance(raw, str) else None


def _of_number(value: float) -> str | None:
    if not value.is_integer() or not 100_000 <= abs(value) < 1e15:
        return None
    return None if _DAY.fullmatch(f"{abs(value):.0f}") else LONG_NUMBER


@lru_cache(maxsize=65536)
def _of_text(raw: str) -> str | None:
    text = plain_dashes(clean(raw))
    if len(text) < 4 or _STUDY_CODE.fullmatch(text):
        return None
    if _BIRTH.search(text):
        return BIRTH
    text = _DATES.sub(" ", text)
    for kind, pattern in (
        (EMAIL, _EMAIL), (HOSPITAL_NUMBER, _LABELLED),
        (NATIONAL_NUMBER, _NATIONAL), (TELEPHONE, _TELEPHONE), (ADDRESS, _STREET),
        (ADDRESS, _POSTCODE), (NAME, _TITLE),
    ):
        if pattern.search(text):
            return kind
    if any(not _DAY.fullmatch(match[1]) for match in _LONG.finditer(text)):
        return LONG_NUMBER
    return NAME if _has_given_name(text) else None


def _has_given_name(text: str) -> bool:
    return any(word.strip(".,;:()'\"") in _GIVEN for word in text.split())


def looks_like_names(texts: list[str], known_words: frozenset[str]) -> bool:
    """Whether a column reads like people's names: capitalised pairs of words nobody knows.

    `texts` are its cells; `known_words` (small letters) are the words of the trade. A single
    cell such as "Basal Ganglia" proves nothing; a column of which most cells are pairs of
    unknown words, nearly all different, does.
    """
    if len(texts) < 3:
        return False
    pairs = [t for t in texts if _WORD_PAIR.fullmatch(t) and not _words(t) & known_words]
    return len(pairs) >= 0.6 * len(texts) and len(set(pairs)) >= 0.7 * len(pairs)


def _words(text: str) -> set[str]:
    return set(re.findall(r"[^\W\d_]+", text.casefold()))
