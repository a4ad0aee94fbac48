"""What must stand beside a model before anyone believes it, all of it as estimates and words.

Events a coefficient, separation, collinearity, rows left out, the influence of single patients,
discrimination corrected for optimism, calibration, and how the exposure runs as a curve.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analyses.statistics.estimate import Estimate, replaced
from analyses.statistics.regression.contrast import curve_vector, is_curve
from analyses.statistics.regression.fitted import SCALES, infinite_terms
from analyses.statistics.regression.functional_form import functional_form
from analyses.statistics.regression.influence import (
    influence_sentence,
    patient_influence,
    turns,
)
from analyses.statistics.regression.model_checks import (
    collinearity_warning,
    events_sentence,
    missing_warning,
    rarer_outcome,
    separation_warning,
    variance_inflation,
)
from analyses.statistics.regression.model_fit import ModelFit
from analyses.statistics.regression.terms import Term, form_of, is_two_valued
from analyses.statistics.regression.validation import Validation, calibration_table, validate
from analyses.statistics.regression.validation_linear import validate_log_linear
from analyses.statistics.table_numbers import number_at

THIRDS = 3
"""Groups of rising risk: with some twenty events more would each hold hardly any."""


@dataclass(frozen=True)
class Influence:
    """The ratio of one term as single patients are left out: its smallest and largest."""

    term: str
    smallest: Estimate
    largest: Estimate

    @property
    def reverses(self) -> bool:
        """Whether one patient decides the direction of the association."""
        return turns(self.smallest.value or 1.0, self.largest.value or 1.0)


@dataclass(frozen=True)
class Diagnosis:
    """How far one model may be trusted.

    basis: events (None for a measurement), coefficients and rows left out for a gap, and `counts`,
    the same as estimates (events a coefficient; rows left out); separated:
    terms that tell events apart without fail; inflation: the highest variance inflation factor
    and its term, None with one term; discrimination: c statistic, or variation explained; slope:
    calibration slope; groups: observed share and expected events of thirds of rising risk;
    influence: a line a term of the exposure; curve: the ratio a step below and above the median of
    the exposure as a curve, none where there is no line to bend, or none could be fitted;
    sentences: all of it for a reader.
    """

    events: int | None
    coefficients: int
    left_out: int
    counts: tuple[Estimate, ...]
    separated: tuple[str, ...]
    inflation: tuple[str, Estimate] | None
    discrimination: Estimate
    slope: Estimate
    groups: tuple[tuple[Estimate, Estimate], ...]
    influence: tuple[Influence, ...]
    curve: tuple[Estimate, ...]
    sentences: tuple[str, ...]

    @property
    def estimates(self) -> tuple[Estimate, ...]:
        """Every number of the diagnosis."""
        each = [e for line in self.influence for e in (line.smallest, line.largest)]
        pairs = [e for pair in self.groups for e in pair]
        alone = [self.inflation[1] if self.inflation else None, self.discrimination, self.slope]
        return tuple(e for e in (*self.counts, *alone, *self.curve, *pairs, *each)
                     if e is not None)


def can_be_diagnosed(model: ModelFit) -> bool:
    """Whether a model is of a kind that `diagnose` takes: logistic, or log-linear."""
    return model.estimator == "log-linear" or model.fitted.gives_risks


def diagnose(model: ModelFit, exposure: Term, unit: str = "row") -> Diagnosis:
    """Diagnose a penalised or log-linear model.

    exposure: the term in question, one of the model's; unit: what a row is. Raises ValueError
    where the model is of another kind.
    """
    rows = model.rows
    linear = model.estimator == "log-linear"
    group = {"variable": exposure.name}
    named = Estimate(id=f"model.{model.outcome}", kind="", value=None, n=model.n, unit=unit,
                     group=group)
    checked = validate_log_linear(model) if linear else validate(model)
    binary = model.events is not None
    form, said = _curve(model, exposure, named)
    terms = [rows.columns.names[place] for place in rows.columns.places(exposure.name)]
    terms = terms[:1] if is_curve(exposure) else [
        term for term in terms if term not in model.fitted.undetermined]
    return Diagnosis(
        rarer_outcome(rows.y) if binary else None,
        rows.x.shape[1] - 1, rows.left_out, _counts(model, named),
        tuple(infinite_terms(rows.x, rows.y, rows.columns.names)) if binary else (),
        _inflation(model, named), replaced(checked.c, unit=unit, group=group),
        _slope(model, checked, named),
        _groups(model, named) if binary else (), _influence(model, exposure, terms, unit),
        form,
        tuple(_sentences(model, [] if is_curve(exposure) else terms, checked.sentence, said)))


def _counts(model: ModelFit, named: Estimate) -> tuple[Estimate, ...]:
    """Rows left out for a gap and, of a yes/no outcome, events a coefficient."""
    found = [replaced(named, id=f"{named.id}.left_out", kind="count",
                      value=float(model.rows.left_out), method="rows with a gap")]
    if model.events is not None:
        fewer, terms = rarer_outcome(model.rows.y), model.rows.x.shape[1] - 1
        found.append(replaced(
            named, id=f"{named.id}.events_per_coefficient", kind="events per coefficient",
            value=fewer / terms, events=fewer, method="the rarer outcome"))
    return tuple(found)


def _inflation(model: ModelFit, named: Estimate) -> tuple[str, Estimate] | None:
    """The highest inflation factor; of a spline or a factor its first column stands for it."""
    columns = model.rows.columns
    keep = [0, *(place for term in columns.terms if len(term.columns) == 1
                 for place in columns.places(term.name)[:1])]
    if len(keep) < 3:
        return None
    names = tuple(columns.names[place] for place in keep)
    found = variance_inflation(model.rows.x[:, keep], names)
    term = str(found.idxmax())
    return term, replaced(
        named, id=f"{named.id}.inflation", kind="variance inflation factor",
        value=float(found[term]), clusters=model.clusters,
        method="diagonal of the inverse correlation matrix of the terms")


def _slope(model: ModelFit, checked: Validation, named: Estimate) -> Estimate:
    return replaced(
        named, id=f"{named.id}.calibration_slope", kind="calibration slope",
        value=number_at(checked.table, "calibration slope", "corrected"), events=model.events,
        clusters=model.clusters, method=checked.c.method)


def _groups(model: ModelFit, named: Estimate) -> tuple[tuple[Estimate, Estimate], ...]:
    """Observed and expected events in thirds of rising risk."""
    table = calibration_table(model, THIRDS)
    words = ("lowest third", "middle third", "highest third")
    found = []
    for word, (_, line) in zip(words, table.iterrows(), strict=True):
        third = replaced(named, n=int(line["rows"]), clusters=int(line["patients"]),
                         group={**(named.group or {}), "risk": word})
        found.append((
            replaced(third, id=f"{named.id}.observed", kind="proportion",
                     value=float(line["observed_share"]), low=float(line["low"]),
                     high=float(line["high"]), events=int(line["observed"]),
                     method="Korn–Graubard, clustered on the patient"),
            replaced(third, id=f"{named.id}.expected", kind="expected events",
                     value=float(line["expected"]),
                     method="sum of risks of the intercept-corrected fit")))
    return tuple(found)


def _influence(
    model: ModelFit, exposure: Term, terms: Iterable[str], unit: str
) -> tuple[Influence, ...]:
    found = patient_influence(model)
    if is_curve(exposure):
        # The curve read between its quartiles, not one of its coefficients.
        vector = curve_vector(model, exposure)[1:]
        logs = np.log(found[list(model.rows.columns.names[1:])].to_numpy(float))
        found = found.assign(**{next(iter(terms)): np.exp(logs @ vector)})
    lines = []
    for term in terms:
        ends = [Estimate(
            id=f"model.{model.outcome}.{term}.without_one_patient.{word}",
            kind=SCALES[model.fitted.scale], value=float(value), unit=unit, n=model.n,
            clusters=model.clusters, method="refitted without each patient in turn",
            group={"term": term}) for word, value in (
                ("smallest", found[term].min()), ("largest", found[term].max()))]
        lines.append(Influence(term, *ends))
    return tuple(lines)


def _curve(
    model: ModelFit, exposure: Term, named: Estimate
) -> tuple[tuple[Estimate, ...], str]:
    """The exposure as a curve, in two parts, with the sentence; none where it is no line."""
    column = model.rows.frame[exposure.columns[0]]
    if len(exposure.columns) > 1 or form_of(exposure, column) != "linear" or _two(column):
        return (), ""
    try:
        found = functional_form(
            model.rows.frame, model.outcome, model.rows.columns.terms, exposure.columns[0],
            cluster=model.rows.clustered_by, estimator=model.estimator)
    except ValueError as problem:
        return (), f"{exposure.name}: no curve was tried, because {problem}."
    parts = (("10th percentile to median", found.below), ("median to 90th percentile", found.above))
    return tuple(replaced(
        named, id=f"{named.id}.curve", kind=SCALES[model.fitted.scale], value=value,
        events=model.events, clusters=model.clusters, group={**(named.group or {}), "part": part},
        method="restricted cubic spline, 3 knots: ratio a step, description of the sample")
        for part, value in parts), found.sentence


def _two(column: pd.Series) -> bool:
    return is_two_valued(column) or bool(np.isin(column.to_numpy(float), (0.0, 1.0)).all())


def _sentences(
    model: ModelFit, terms: Iterable[str], validated: str, curve: str
) -> Iterable[str]:
    rows = model.rows
    if model.events is not None:
        yield f"{events_sentence(rows)}."
        yield separation_warning(rows) or (
            "No separation: no term tells events and non-events apart without fail.")
    yield collinearity_warning(rows) or "No collinearity to speak of among the terms."
    yield missing_warning(rows) or "No row is left out for a gap."
    yield from (influence_sentence(model, term) for term in terms)
    yield validated
    if curve:
        yield curve
