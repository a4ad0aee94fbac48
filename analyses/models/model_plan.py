"""The analysis plan: what is asked, written down before anything is fitted.

A plan file is TOML. Its date and a hash of its content are printed with every result, and
whatever was fitted without standing in it is marked exploratory.
"""

from __future__ import annotations

import datetime
import hashlib
import json
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analyses.models.declared_question import PRIMARY, AnyQuestion, read_questions
from analyses.models.technique_declared import later_steps, not_offered
from analyses.models.technique_outcomes import outcome_of
from analyses.statistics.regression.estimator_choice import ESTIMATORS
from analyses.statistics.regression.terms import Term, as_term
from registry.schema import Patients

if TYPE_CHECKING:
    pass

MISSING_RULES = ("complete rows", "imputation")


@dataclass(frozen=True)
class PlannedModel:
    """One model of a plan.

    exposure: the term in question; adjust: terms held beside it, with the reason of each in
    `why`; unit: what a row is; cluster: the column naming the patient; missing: what happens to
    gaps; subgroups: columns whose interaction with the exposure was planned.
    """

    name: str
    unit: str
    outcome: str
    exposure: Term
    adjust: tuple[Term, ...] = ()
    why: tuple[str, ...] = ()
    cluster: str = Patients.patient_id
    estimator: str = "auto"
    missing: str = "complete rows"
    subgroups: tuple[str, ...] = ()

    @property
    def terms(self) -> tuple[Term, ...]:
        return (self.exposure, *self.adjust)


@dataclass(frozen=True)
class Plan:
    """A plan: title, date, models, the questions named beforehand, and a hash of it all.

    important: the size of a difference of shares (0 to 1) that the service calls important; None
    where it names none.
    """

    title: str
    date: datetime.date
    models: tuple[PlannedModel, ...]
    level: float = 0.95
    note: str = field(default="", compare=False)
    questions: tuple[AnyQuestion, ...] = ()
    important: float | None = None

    @property
    def hash(self) -> str:
        """SHA-256 of the content, whatever the layout of the file."""
        content = json.dumps(_plain(self), sort_keys=True, ensure_ascii=False)
        return hashlib.sha256(content.encode("utf-8")).hexdigest()

    @property
    def heading(self) -> str:
        """One line for reports: title, date and the first 12 digits of the hash."""
        return f"{self.title}, declared {self.date.isoformat()}, hash {self.hash[:12]}"


def declared_late(plan: Plan, frozen: datetime.date | None) -> bool:
    """Whether a plan was dated after the data were frozen: it was not written before them."""
    return frozen is not None and plan.date > frozen


def _term_table(term: Term) -> dict[str, Any]:
    table: dict[str, Any] = (
        {"column": term.columns[0]} if len(term.columns) == 1 else {"columns": list(term.columns)})
    if term.form:
        table["form"] = term.form
    if term.form == "spline":
        table["knots"] = list(term.knots) if isinstance(term.knots, tuple) else term.knots
    if term.per != 1:
        table["per"] = term.per
    if term.reference is not None:
        table["reference"] = term.reference
    return table


def _model_table(model: PlannedModel) -> dict[str, Any]:
    adjust = [dict(_term_table(term), **({"why": why} if why else {}))
              for term, why in zip(model.adjust, model.why or ("",) * len(model.adjust),
                                   strict=True)]
    return {"name": model.name, "unit": model.unit, "outcome": model.outcome,
            "cluster": model.cluster, "estimator": model.estimator, "missing": model.missing,
            "subgroups": list(model.subgroups), "exposure": _term_table(model.exposure),
            "adjust": adjust}


def _plain(plan: Plan) -> dict[str, Any]:
    asked = {"questions": [vars(one) for one in plan.questions]} if plan.questions else {}
    named = {} if plan.important is None else {"important": plan.important}
    return {"title": plan.title, "date": plan.date.isoformat(), "level": plan.level, **named,
            **asked,
            "model": [_model_table(model) for model in plan.models]}


def _value(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_value(v)}" for key, v in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(_value, value)) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str) else repr(value)


def write_plan(plan: Plan, path: str | Path) -> None:
    """Write a plan file (TOML, UTF-8)."""
    lines = [f"# {line}" for line in plan.note.splitlines()]
    lines += [f"title = {_value(plan.title)}", f"date = {plan.date.isoformat()}",
              f"level = {plan.level!r}"]
    lines += [] if plan.important is None else [f"important = {plan.important!r}"]
    for question in plan.questions:
        lines += ["", "[primary]" if question.role == PRIMARY else "[[secondary]]"]
        lines += [f"{key} = {_value(value)}" for key, value in question.table().items()]
    for model in plan.models:
        lines += ["", "[[model]]"]
        for key, value in _model_table(model).items():
            if key == "adjust":
                lines += ["adjust = [", *(f"  {_value(term)}," for term in value), "]"]
            else:
                lines.append(f"{key} = {_value(value)}")
    Path(path).write_text("\n".join(lines) + "\n", encoding="utf-8")


def read_plan(path: str | Path) -> Plan:
    """Read a plan file. Raises ValueError naming the file and everything wrong in it."""
    path = Path(path)
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as problem:
        raise ValueError(f"{path.name}: cannot be read as a plan file: {problem}") from None
    problems: list[str] = []
    date = content.get("date")
    if not isinstance(date, datetime.date) or isinstance(date, datetime.datetime):
        problems.append(f"date: found {date!r}; wanted a date such as 2026-03-01, without quotes")
    level = content.get("level", 0.95)
    if not isinstance(level, float) or not 0 < level < 1:
        problems.append(f"level: found {level!r}; wanted a share such as 0.95")
    important = content.get("important")
    if important is not None and not (isinstance(important, float) and 0 < important < 1):
        problems.append(f"important: found {important!r}; wanted the size of a difference of "
                        "shares as a number between 0 and 1, such as 0.05 for 5 percentage "
                        "points, or no such line")
    models = [_read_model(place, table, problems)
              for place, table in enumerate(content.get("model", []), start=1)]
    questions, wrong = read_questions(content)
    problems += wrong
    if not models and not questions:
        problems.append("no question and no [[model]] is declared; a plan has at least one")
    if problems or not isinstance(date, datetime.date):
        raise ValueError(f"{path.name}: " + "; ".join(problems))
    return Plan(str(content.get("title", path.stem)), date, tuple(filter(None, models)), level,
                questions=questions, important=important)


def _read_model(place: int, table: dict[str, Any], problems: list[str]) -> PlannedModel | None:
    where = f"model {place} ({table.get('name', 'no name')})"
    before = len(problems)
    lacking = [key for key in ("name", "unit", "outcome", "exposure") if not table.get(key)]
    problems += [f"{where}: {key} is missing" for key in lacking]
    known = {"name", "unit", "outcome", "exposure", "adjust", "cluster", "estimator", "missing",
             "subgroups"}
    problems += [f"{where}: {key!r} is not known; wanted {', '.join(sorted(known))}"
                 for key in table if key not in known]
    for key, allowed in (("estimator", ESTIMATORS), ("missing", MISSING_RULES)):
        if key in table and table[key] not in allowed:
            problems.append(f"{where}: {key} {table[key]!r}; wanted one of {', '.join(allowed)}")
    try:
        exposure = as_term(table["exposure"]) if "exposure" in table else None
        adjust = tuple(as_term(term) for term in table.get("adjust", []))
    except (ValueError, AttributeError, TypeError) as problem:
        problems.append(f"{where}: {problem}")
    if len(problems) > before or exposure is None:
        return None
    problems += [f"{where}: {said}"
                 for said in chain_problems(str(table["outcome"]), exposure, adjust)]
    if table.get("subgroups") and exposure.form == "spline":
        problems.append(f"{where}: subgroups need an exposure that is linear or a factor, not a "
                        "spline; leave one of the two out")
    why = tuple(str(term.get("why", "")) if isinstance(term, dict) else ""
                for term in table.get("adjust", []))
    return PlannedModel(
        table["name"], table["unit"], table["outcome"], exposure, adjust, why,
        table.get("cluster", Patients.patient_id), table.get("estimator", "auto"),
        table.get("missing", "complete rows"), tuple(table.get("subgroups", [])))


def chain_problems(outcome: str, exposure: Term, adjust: Sequence[Term]) -> list[str]:
    """Sentences where a model asks what its chain of causes forbids.

    It adjusts for a later step of the chain that the exposure begins, or holds the last step of
    the outcome's own chain. outcome: its column.
    """
    held = [column for term in adjust for column in term.columns]
    said = [f"{later} comes after {exposure.name} in the same chain of causes; adjusting for it "
            "would hide part of the effect in question"
            for later in later_steps(exposure.columns, held)]
    known = outcome_of(outcome)
    return said + (not_offered((*exposure.columns, *held), known.measure) if known else [])
