"""When follow-up is due: a schedule that a service replaces with its own.

The default (`follow_up_schedule.toml`) is common practice, no source: catheter angiography within
7 days of a resection, at 6 months and at 3 years; a clinic visit at 3 months and every year.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any

from registry.problems.sentence_error import SentenceError
from registry.schema import TABLES, FollowUps

AFTER = ("treatment", "resection")
DAYS = ("days", "early", "late")


class ScheduleError(SentenceError, ValueError):
    """A file with a schedule that cannot be used; the message lists every problem in it."""


@dataclass(frozen=True)
class Visit:
    """One item of a schedule.

    `what`: in the words of whoever calls the patients; `after`: "treatment" or "resection";
    `days`: from then to the due day; `early`, `late`: how many days before and after the due
    day still count; `imaging`: kinds of imaging that satisfy it, none for any visit.
    """

    what: str
    after: str
    days: int
    early: int
    late: int
    imaging: tuple[str, ...] = ()


@dataclass(frozen=True)
class LostRule:
    """When a patient is given up: after so many tries, and so many months since last seen."""

    tries: int = 3
    months: int = 24


@dataclass(frozen=True)
class Schedule:
    """A schedule, whose it is, and when a patient counts as lost (common practice, no source)."""

    source: str
    visits: tuple[Visit, ...]
    lost: LostRule = LostRule()


def default_schedule() -> Schedule:
    """The schedule that comes with the package (common practice, no source)."""
    place = resources.files("registry.quality").joinpath("follow_up_schedule.toml")
    text = place.read_text("utf-8")
    return _schedule(tomllib.loads(text), "the package's own schedule")


def read_schedule(path: str | Path) -> Schedule:
    """A service's own schedule from its TOML file, laid out as `follow_up_schedule.toml`.

    Raises ScheduleError when the file cannot be read or anything in it is missing, unknown or
    impossible; the message names every problem and how to mend it.
    """
    place = Path(path)
    try:
        content = tomllib.loads(place.read_text("utf-8"))
    except OSError as fault:
        raise ScheduleError(
            f"{place}: the schedule could not be read ({fault.strerror}). Give the path of a TOML "
            "file laid out as the one that comes with the package."
        ) from fault
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise ScheduleError(
            f"{place}: this is not a TOML text file ({fault}). Start from a copy of the schedule "
            "that comes with the package."
        ) from fault
    return _schedule(content, str(place))


def _schedule(content: dict[str, Any], place: str) -> Schedule:
    source, visits = _stated(content.get("source")), content.get("visits")
    problems = [
        f'"{name}" is not known here; remove it' for name in content
        if name not in {"source", "visits", "lost"}
    ]
    if not source:
        problems.append('"source" is missing; say whose schedule this is')
    if not isinstance(visits, list) or not visits:
        problems.append("there is no visit; add a part [[visits]] for each")
        visits = []
    for number, visit in enumerate(visits, start=1):
        problems += [f"visit {number}: {words}" for words in _visit_problems(visit)]
    lost = content.get("lost", {})
    problems += _lost_problems(lost)
    if problems:
        listed = "\n".join(f"- {problem}" for problem in problems)
        raise ScheduleError(f"{place}: the schedule cannot be used.\n{listed}")
    return Schedule(source, tuple(
        Visit(v["what"].strip(), v["after"], v["days"], v["early"], v["late"],
              tuple(v.get("imaging", ())))
        for v in visits
    ), LostRule(**lost))


def _lost_problems(lost: Any) -> list[str]:
    if not isinstance(lost, dict):
        return ['"lost" is not a part [lost]; write it as one']
    known = set(vars(LostRule()))
    return [
        *(f'lost: "{name}" is not known here; remove it' for name in lost if name not in known),
        *(f'lost: "{name}" must be a whole number, 1 or more' for name in known & set(lost)
          if type(lost[name]) is not int or lost[name] < 1),
    ]


def _stated(words: Any) -> str:
    """The words of a line of text; none where there is no such line."""
    return words.strip() if isinstance(words, str) else ""


def _visit_problems(visit: Any) -> list[str]:
    if not isinstance(visit, dict):
        return ["it is not a part [[visits]]; write each visit as one"]
    known = {"what", "after", "imaging", *DAYS}
    problems = [f'"{name}" is not known here; remove it' for name in visit if name not in known]
    what, imaging = visit.get("what"), visit.get("imaging", [])
    if not isinstance(what, str) or not what.strip():
        problems.append('"what" is missing; say what is due, in words')
    if visit.get("after") not in AFTER:
        problems.append('"after" must be "treatment" or "resection"')
    problems += [
        f'"{name}" must be a whole number of days, 0 or more' for name in DAYS
        if type(visit.get(name)) is not int or visit[name] < 0
    ]
    kinds = TABLES["follow_ups"].by_name[FollowUps.imaging].values[:-1]
    if not isinstance(imaging, list) or any(kind not in kinds for kind in imaging):
        problems.append('"imaging" must be a list out of: ' + ", ".join(kinds))
    return problems
