"""The words of a quality report: a small file beside the numbers.

The items follow SQUIRE 2.0, Ogrinc and others 2016, BMJ Quality & Safety 25:986: the aim, the
measures with their operational definitions (outcome, process, balancing), the baseline, the
changes tried. The file is TOML and holds words only; numbers come from the estimates.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from analyses.monitoring.words_file import FileProblem, toml_content
from analyses.statistics.control_charts.stages import Change

MEASURE_KINDS = ("outcome", "process", "balancing")
EXAMPLE = '''\
title = "Fewer symptomatic complications of embolization"
aim = "From … to … the share of sessions with a symptomatic complication falls."
baseline = "Which period, and what was usual then."
context = "The service, its volume, who takes part."

[[measures]]
name = "Symptomatic complication"
kind = "outcome"            # outcome, process or balancing
definition = "A symptomatic complication within 30 days of the session / sessions."
estimate = "complication.symptomatic"     # id of the estimate, if there is one

[[measures]]
name = "Sessions a patient"
kind = "balancing"
definition = "Embolization sessions / patients who ended treatment."

[[changes]]
date = 2026-01-15
what = "Reflux limit agreed before each injection"
why = "Reflux was the commonest mechanism at review."
new_stage = true
'''


@dataclass(frozen=True)
class ProjectMeasure:
    """A measure: its name, its kind, its operational definition, and its estimate's id."""

    name: str
    kind: str
    definition: str
    estimate: str = ""


@dataclass(frozen=True)
class Project:
    """The words of one improvement project."""

    title: str
    aim: str
    baseline: str
    measures: tuple[ProjectMeasure, ...]
    changes: tuple[Change, ...]
    context: str = ""


class ProjectProblem(FileProblem):
    """The file cannot be used; the message names every place and its remedy."""


def read_project(path: str | Path) -> Project:
    """Read the words file.

    It is TOML, laid out as EXAMPLE (`nidusbook demo` writes a whole one, quality-project.toml):
    `title`, `aim`, `baseline`, and `context` if wanted; a `[[measures]]` part for each measure
    with `name`, `kind` (outcome, process or balancing), `definition` and, where the report gives
    the number, `estimate`, an id of results.json; a `[[changes]]` part for each change tried with
    `date`, `what`, and `why` and `new_stage` if wanted. From the first change with `new_stage =
    true` the report counts before and since. Raises ProjectProblem with all problems at once.
    """
    place = Path(path)
    content = toml_content(
        place, ProjectProblem, 'A text stands in quotes: aim = "…"')
    problems: list[str] = []
    project = _project(content, problems)
    if problems:
        raise ProjectProblem("\n".join(f"{place.name}: {problem}" for problem in problems))
    return project


def _project(content: dict[str, Any], problems: list[str]) -> Project:
    known = {"title", "aim", "baseline", "context", "measures", "changes"}
    for name in sorted(set(content) - known):
        problems.append(f"{name!r} is not known; known are {', '.join(sorted(known))}")
    words = {name: _text(content, name, "", problems) for name in ("title", "aim", "baseline")}
    measures = [
        _measure(entry, f"measure {n}", problems)
        for n, entry in enumerate(_entries(content, "measures", problems), start=1)
    ]
    kinds = {measure.kind for measure in measures}
    for kind in ("outcome", "balancing"):
        if kind not in kinds:
            problems.append(f"no {kind} measure: a quality report needs at least one")
    changes = [
        _change(entry, f"change {n}", problems)
        for n, entry in enumerate(_entries(content, "changes", problems), start=1)
    ]
    context = content.get("context", "")
    return Project(words["title"], words["aim"], words["baseline"], tuple(measures),
                   tuple(sorted(changes, key=lambda change: change.day)),
                   context if isinstance(context, str) else "")


def _entries(content: dict[str, Any], name: str, problems: list[str]) -> list[dict[str, Any]]:
    found = content.get(name, [])
    if not isinstance(found, list) or not all(isinstance(entry, dict) for entry in found):
        problems.append(f"{name}: write each one under a line [[{name}]]")
        return []
    return found


def _text(content: dict[str, Any], name: str, where: str, problems: list[str]) -> str:
    found = content.get(name)
    if isinstance(found, str) and found.strip():
        return found.strip()
    said = "is missing" if found is None else f"is {found!r}"
    problems.append(f"{where}{': ' if where else ''}{name} {said}; a text in quotes is wanted")
    return ""


def _measure(entry: dict[str, Any], where: str, problems: list[str]) -> ProjectMeasure:
    kind = entry.get("kind")
    if kind not in MEASURE_KINDS:
        problems.append(f"{where}: kind is {kind!r}; {', '.join(MEASURE_KINDS)} is wanted")
    estimate = entry.get("estimate", "")
    if not isinstance(estimate, str):
        problems.append(f"{where}: estimate is {estimate!r}; the id of an estimate is wanted")
        estimate = ""
    return ProjectMeasure(_text(entry, "name", where, problems), str(kind),
                   _text(entry, "definition", where, problems), estimate)


def _change(entry: dict[str, Any], where: str, problems: list[str]) -> Change:
    day = entry.get("date")
    if isinstance(day, datetime):
        day = day.date()
    if not isinstance(day, date):
        problems.append(f"{where}: date is {day!r}; a date without quotes is wanted: 2026-03-01")
        day = date.min
    fresh = entry.get("new_stage", False)
    if not isinstance(fresh, bool):
        problems.append(f"{where}: new_stage is {fresh!r}; true or false is wanted")
        fresh = False
    why = entry.get("why", "")
    return Change(day, _text(entry, "what", where, problems), fresh,
                  why if isinstance(why, str) else "")
