"""The errors that a study raises on purpose: one sentence for a person, with the nearest names."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches

from registry.problems.sentence_error import SentenceError


class StudyError(SentenceError, ValueError):
    """Something was asked of a study that it cannot do; the message says why."""


class UnknownName(SentenceError, KeyError):
    """A measure, unit, column or value that there is not; the message names the nearest."""

    def __str__(self) -> str:
        # KeyError would show its message in quotation marks.
        return str(self.args[0])


def unknown_name(what: str, name: object, there_are: Iterable[object], where: str) -> UnknownName:
    """The error for a name that is not there.

    what: "measure", "unit", "column"; there_are: all names of that sort; where: the words for
    where all of them stand, "All are in study.measures()."
    """
    names = [str(one) for one in there_are]
    near = get_close_matches(str(name), names, n=3, cutoff=0.4)
    nearest = f"The nearest: {', '.join(near)}. " if near else ""
    return UnknownName(f"There is no {what} “{name}”. {nearest}{where}")
