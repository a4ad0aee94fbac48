"""Text in a person's own words: what in it could lead to somebody.

A review says what happened, not to whom and when: beside what any cell may not hold, a day and a
study code are refused, because a rare case on a known day is known to all who were there.
"""

from __future__ import annotations

import re

from registry.privacy.contents import identifying_content
from registry.privacy.kinds import DAY, STUDY_CODE
from registry.problems.cell_text import clean, plain_dashes

_MONTH = (
    r"(?:January|February|March|April|May|June|July|August|September|October|November|December"
    r"|Jan|Feb|Mar|Apr|Jun|Jul|Aug|Sept?|Oct|Nov|Dec)\b\.?"
)
_DAY_OF = re.compile(
    r"(?<!\d)(?:\d{4}[-/. ]\d{1,2}[-/. ]\d{1,2}|[0-3]?\d[-/.][0-3]?\d[-/.](?:\d{4}|\d{2}))(?!\d)"
    rf"|\b[0-3]?\d(?:st|nd|rd|th)?\.?(?: of)? {_MONTH}"
    rf"|\b{_MONTH} [0-3]?\d(?:st|nd|rd|th)?\b"
)
_CODE = re.compile(r"(?<![\w-])[A-Z]{1,4}-\d{3,6}(?![\w-])")


def points_to_person(text: str) -> str | None:
    """What in a text could lead to a person, in words; None where nothing is recognised.

    What any cell may not hold (a name, a number, an address: `identifying_content`), a day, or a
    study code.
    """
    plain = plain_dashes(clean(text))
    if kind := identifying_content(text):
        return kind
    if _CODE.search(plain):
        return STUDY_CODE
    return DAY if _DAY_OF.search(plain) else None
