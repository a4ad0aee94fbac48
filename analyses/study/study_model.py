"""A regression model of a study's measure on columns of its frame."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from analyses.content.blocks import Cell, Points, Section, Sentence, Table, plain
from analyses.measures.measure import Direction, Share
from analyses.models.applies import rows_asked
from analyses.models.model_wording import ratio_text
from analyses.models.technique_declared import later_steps, not_offered
from analyses.population.unit_frames import Units
from analyses.statistics.estimate import Estimate
from analyses.statistics.regression.fitting import fit
from analyses.statistics.regression.model_fit import ModelFit
from analyses.statistics.regression.terms import Term, as_term
from analyses.study.study_errors import StudyError, unknown_name
from analyses.study.study_frames import StudyFrame
from analyses.study.study_shown import ShowsItself
from analyses.words.estimate_text import plural
from registry.schema import Patients

FLOOR = 8
"""Fewest events, and fewest units without one: the analysis plan's floor for every model."""

Given = str | Term | Mapping[str, Any]
"""A term: a column, a `Term`, or a plan file's table."""


@dataclass(frozen=True, repr=False)
class StudyModel(ShowsItself):
    """A fitted model of a measure.

    fit: the model as fitted; asked: the columns that are asked about (the others are adjusted
    for); labels, steps: the words and the unit of each column; not_asked: units in which a column
    has no meaning.
    """

    measure: Share
    unit: str
    fit: ModelFit
    asked: tuple[str, ...]
    labels: Mapping[str, str]
    steps: Mapping[str, str]
    not_asked: Mapping[str, int]

    @property
    def table(self) -> pd.DataFrame:
        """Index `term`; columns estimate, se, low, high and p, on the model's own (log) scale."""
        return self.fit.table

    @property
    def events(self) -> int | None:
        """The events behind the model."""
        return self.fit.events

    @property
    def estimates(self) -> tuple[Estimate, ...]:
        """The ratios of every line."""
        return self.fit.estimates(self.unit)

    @property
    def warnings(self) -> tuple[str, ...]:
        """What to beware of, in sentences."""
        return (*self.fit.warnings, *(
            f"{self.labels.get(name, name)} has no meaning in {count} {plural(self.unit)}, which "
            "are not in the model." for name, count in self.not_asked.items()))

    def sentence(self) -> str:
        """What is said of each line that was asked about, with the events behind it."""
        return " ".join(self._said(one) for one in self.estimates
                        if self._column(one) in self.asked)

    def content(self) -> tuple[Section, ...]:
        """The ratios of every line, and what to beware of."""
        rows = tuple((Cell(self._name(one), heading=True), Cell(ratio_text(one), one),
                      Cell("asked" if self._column(one) in self.asked else "adjusted for"))
                     for one in self.estimates)
        counts = Cell(f"{self.fit.n:,} {plural(self.unit)}")
        table = Table("model", f"{self.measure.label}, per {self.unit}",
                      ("Term", f"{self.fit.estimates()[0].kind.capitalize()} (interval)", "Role"),
                      rows, (f"{self._behind()}; {counts.text} in the model.",))
        return (Section(f"Model of {self.measure.subject}", (
            table, plain(self.fit.why, self.sentence()),
            Points(tuple(map(Sentence, self.warnings))))),)

    def _column(self, one: Estimate) -> str:
        return (one.group or {}).get("term", "").split(" (")[0].split(" [")[0]

    def _name(self, one: Estimate) -> str:
        """`Mean rate (per 0.1 mL/min)`: the label of the column, with the step of the ratio."""
        term = (one.group or {}).get("term", "")
        column = self._column(one)
        rest, unit = term.removeprefix(column), self.steps.get(column, "")
        if unit and (not rest or rest.startswith(" (per ")):
            rest = f"{rest.removesuffix(')') or ' (per'} {unit})"
        return f"{self.labels.get(column, column)}{rest}"

    def _said(self, one: Estimate) -> str:
        if one.value is None:
            return f"{self._name(one)}: these data cannot answer ({self._behind()})."
        wanted = self.measure.direction is Direction.BENEFIT
        way = "higher" if one.value > 1 else "lower"
        if round(one.value, 2) == 1:
            way = "about the same"
        said = (f"{self._name(one)}: {way} {'chance' if wanted else 'risk'} of "
                f"{self.measure.subject}, {one.kind} {ratio_text(one)}; {self._behind()}")
        if one.low is not None and one.high is not None and one.low <= 1 <= one.high:
            said += "; the interval includes no association, so the question stays open"
        return f"{said}."

    def _behind(self) -> str:
        return (f"{self.fit.events:,} events in {self.fit.n:,} {plural(self.unit)} of "
                f"{self.fit.clusters:,} patients")


def study_model(
    measure: Share, units: Units, unit: str, frame: StudyFrame, terms: Sequence[Given],
    adjust: Sequence[Given], level: float,
) -> StudyModel:
    """Fit the share of a unit on columns of its frame, clustered on the patient.

    A grade enters as its number, a step a grade; give {"column": "sm_grade", "form": "factor"}
    for one coefficient a grade. Raises UnknownName for a column that is not there, StudyError
    where no model can be fitted: the gate refuses a point, there are fewer than 8 events or 8
    units without, or the chain of causes forbids a term.
    """
    asked, other = _terms(terms, frame), _terms(adjust, frame)
    columns = list(dict.fromkeys(c for term in (*asked, *other) for c in term.columns))
    _refuse_by_chain(measure, asked, other)
    verdict = measure.verdict(units, unit)
    if not verdict:
        raise StudyError(f"No model of {measure.id}: {verdict.why}.")
    rows = measure.frame(units, unit)
    keys = rows["key"].astype("string")
    data = pd.DataFrame({name: _for_a_model(frame.frame[name]) for name in columns})
    data = data.join(frame.asked).reindex(keys).reset_index(drop=True)
    data = data.assign(**{OUTCOME: rows["event"].astype("boolean").to_numpy(),
                          PATIENT: rows[Patients.patient_id].to_numpy(dtype=object)})
    data, not_asked = rows_asked(data, columns)
    whole = data[[OUTCOME, *columns]].notna().all(axis=1)
    events = int(data.loc[whole, OUTCOME].sum())
    if min(events, int(whole.sum()) - events) < FLOOR:
        raise StudyError(
            f"No model of {measure.id}: {events} {plural(unit)} with the event and "
            f"{int(whole.sum()) - events} without have every term recorded; at least {FLOOR} of "
            "each are wanted.")
    try:
        found = fit(data, OUTCOME, [*asked, *other], cluster=PATIENT, level=level)
    except ValueError as fault:
        raise StudyError(f"No model of {measure.id}: {fault}.") from fault
    labels = {name: frame.columns[name].label for name in columns}
    steps = {name: frame.columns[name].unit for name in columns}
    return StudyModel(measure, unit, found, tuple(c for t in asked for c in t.columns), labels,
                      steps, not_asked)


OUTCOME, PATIENT = "event", "patient"


def _refuse_by_chain(measure: Share, asked: Sequence[Term], other: Sequence[Term]) -> None:
    """Raise StudyError where a term holds a later step of its cause, or of the outcome itself."""
    held = [column for term in other for column in term.columns]
    said = not_offered([*(c for term in asked for c in term.columns), *held], measure)
    for term in asked:
        said += [f"{later} follows from {term.name}, and adjusting for it would hide part of what "
                 "is asked" for later in later_steps(term.columns, held)]
    if said:
        raise StudyError(f"No model of {measure.id}: {'; '.join(said)}.")


def _terms(given: Sequence[Given], frame: StudyFrame) -> list[Term]:
    if isinstance(given, str):
        raise StudyError(f"The terms are a list, such as [\"{given}\"].")
    try:
        terms = [as_term(one) for one in given]
    except (ValueError, TypeError, AttributeError) as fault:
        raise StudyError(f"{fault}") from fault
    for name in (column for term in terms for column in term.columns):
        if name not in frame.frame:
            raise unknown_name("column", name, frame.frame.columns,
                               f"All columns of the {frame.unit}s are in study.dictionary().")
    return terms


def _for_a_model(values: pd.Series) -> pd.Series:
    """A grade of numbers as numbers; everything else as it is."""
    if isinstance(values.dtype, pd.CategoricalDtype):
        if pd.api.types.is_integer_dtype(values.cat.categories.dtype):
            return values.astype("Float64")
        return values.astype(object).where(values.notna(), None)
    return values
