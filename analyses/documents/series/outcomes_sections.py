"""The case series' sections on patients, procedures, resection and function."""

from __future__ import annotations

import pandas as pd

from analyses.content.blocks import Paragraph, Picture, Section, Sentence, Table, plain
from analyses.documents.tables.measure_tables import grouped_table, measures_table
from analyses.documents.tables.measurement_tables import (
    baseline_table,
    medians_by_table,
    medians_table,
)
from analyses.figures.figure_measures import dose_figure, strip_figure
from analyses.figures.figure_shares import interval_figure
from analyses.figures.figure_shift import shift_figure
from analyses.measures.counting import levels
from analyses.measures.declared import about, measure, shown_at
from analyses.measures.function import DISTRIBUTIONS, MOMENTS, SCORES, WORSE_BY_CAUSE
from analyses.measures.measuring import median_of
from analyses.measures.places import Place
from analyses.measures.practice_kept import limits_by_operator
from analyses.measures.procedures import (
    AIR_KERMA,
    HIGH_KERMA,
    HIGH_KERMA_MGY,
    operator_estimates,
)
from analyses.measures.resection import BLOOD_LOSS, CONFOUNDED, operations_with_extent
from analyses.measures.results import Results
from analyses.population.procedure_rows import procedure_rows
from analyses.statistics.arrays import Floats
from analyses.statistics.table_rows import rows_of
from registry.clinical.practice_limits import LIMITS_CAUTION, PracticeLimits, default_limits
from registry.schema import Resections, Sessions

MOMENT_LABELS = {
    "before": "Before treatment", "worst": "Worst since it began", "last": "Last visit"}
BAND_WORDS = {"extent": "extent of embolization", "interval": "days since the last session"}


def baseline_section(results: Results) -> Section:
    """Who the patients and lesions were, by rupture before treatment."""
    found = [e for e in results.estimates if e.id.startswith("baseline.")]
    return Section("Patients and lesions", (
        baseline_table(results.units, found, "ruptured"),
        plain("Scores describe groups; they do not decide treatment."),
    ))


def procedures_section(results: Results, limits: PracticeLimits | None = None) -> Section:
    """How procedures were done, and the share within the practice limits."""
    used = limits or default_limits()
    kerma = measures_table(results, "dose-over-5-gray", "Substantial radiation dose",
                           [(HIGH_KERMA.id, "session")])
    return Section("Procedures and technique", (
        medians_table("procedures", "Procedures and injections", results.estimates, _measured()),
        medians_by_table(
            "procedures-by-formulation", "Procedures and injections by formulation",
            results.estimates, _measured(), "formulation", "Measure", folded=True),
        dose_picture(results), kerma,
        plain(f"The practice limits are those of: {used.source}. {_capital(LIMITS_CAUTION)}.",
              *(f"{_capital(row['limit'])}: {row['wanted']}." for row in rows_of(used.table()))),
        measures_table(results, "technique", "Within the practice limits", _limits()),
        limits_picture(results),
        grouped_table(results, "technique-by-formulation",
                      "Within the practice limits by formulation", _limits(), "formulation",
                      folded=True),
    ))


def operators_section(results: Results, limits: PracticeLimits | None = None) -> Section:
    """Procedures and limits by operator code; for documents that stay inside the service only."""
    inside = Results(results.units, tuple(limits_by_operator(results.units)))
    measured = [pair for pair in _measured() if pair[1] != "patient"]
    return Section("By operator code", (
        plain("For this service's own eyes: operators differ in the cases they take on, and the "
              "numbers do not rank them."),
        medians_by_table("procedures-by-operator", "Procedures and injections by operator code",
                         operator_estimates(results.units), measured, "operator", "Measure",
                         folded=True),
        grouped_table(inside, "technique-by-operator",
                      "Within the practice limits by operator code", _limits(), "operator",
                      folded=True),
    ))


def _measured() -> list[tuple[str, str]]:
    """The measurements of procedures and injections."""
    return [(id, unit) for id, unit in shown_at(Place.PROCEDURE_TABLE)
            if measure(id).kind == "median"]


def _limits() -> list[tuple[str, str]]:
    """The practice limits, each judged on every injection (mixing: session) it applies to."""
    return shown_at(Place.LIMITS_TABLE)


def dose_picture(results: Results) -> Picture:
    """The distribution of the air kerma over sessions."""
    found = results.one(AIR_KERMA.id, "session")
    values = procedure_rows(results.units)[Sessions.air_kerma_mgy].dropna().to_numpy(dtype=float)
    caption = "Air kerma at the reference point, one value a session"
    return Picture("air-kerma", caption, f"{caption}: median {found.number_text()}.",
                   lambda width: dose_figure(values, found, HIGH_KERMA_MGY,
                                             "Air kerma at the reference point (mGy)", width),
                   (found,))


def limits_picture(results: Results) -> Picture:
    """The share within each practice limit, with clustered intervals."""
    found = [results.one(*pair) for pair in _limits()]
    labels = [about(e.id).label for e in found]
    caption = "Share within each practice limit, with 95 % intervals clustered on the patient"
    alt = f"{caption}: " + "; ".join(
        f"{label} {e.number_text()}" for label, e in zip(labels, found, strict=True))
    return Picture("practice-limits", caption, alt, lambda width: interval_figure(
        found, labels, width, "Within the limit (%)"), tuple(found), rows_seen=False)


def resection_section(results: Results) -> Section:
    """The operation by extent of embolization and interval; no causal words."""
    measures = [pair for pair in shown_at(Place.OPERATION_TABLE) if pair[1] == "operation"]
    resected = shown_at(Place.RESECTION_BY_EXTENT)
    return Section("Resection", (
        plain(CONFOUNDED,
              "Groups are described side by side; nothing here says that embolization changed "
              "the operation."),
        measures_table(results, "resection", "Result of resection and new deficits", resected),
        medians_table("resection-measures", "Blood loss, time and nights", results.estimates,
                      measures),
        *(block for column, words in BAND_WORDS.items() for block in (
            grouped_table(results, f"resection-by-{column}", f"Resection by {words}", resected,
                          column),
            medians_by_table(f"resection-measures-by-{column}",
                             f"Blood loss, time and nights by {words}", results.estimates,
                             measures, column, "Measure", notes=(CONFOUNDED,)))),
        blood_loss_picture(results),
    ))


def blood_loss_picture(results: Results) -> Picture:
    """Blood loss of every operation by extent of embolization."""
    rows = operations_with_extent(results.units)
    names = levels(rows["extent"], "extent")
    groups = [(name, _values(rows[rows["extent"] == name], Resections.blood_loss_ml),
               median_of(rows[rows["extent"] == name], Resections.blood_loss_ml,
                         id=BLOOD_LOSS.id, unit="operation", measure="mL",
                         group={"extent": name})) for name in names]
    caption = ("Blood loss by extent of embolization before the operation: every operation, and "
               "the median with its 95 % interval")
    alt = f"{caption}: " + "; ".join(f"{name} {e.number_text()}" for name, _, e in groups)
    return Picture("blood-loss-by-extent", caption, alt, lambda width: strip_figure(
        groups, "Blood loss (mL)", width), tuple(e for _, _, e in groups))


def function_section(results: Results) -> Section:
    """Function before, at worst and at last; worsening, and what it is put down to."""
    causes = [(one.id, "patient") for one in WORSE_BY_CAUSE]
    shown = shown_at(Place.FUNCTION_BY_GROUP)
    return Section("Function", (
        Paragraph(tuple(Sentence(results.one(*pair).sentence(about(pair[0]).subject),
                                 (results.one(*pair),)) for pair in shown)),
        measures_table(results, "function", "Function at the last visit", shown),
        shift_picture(results),
        _by_columns(results),
        measures_table(results, "worsening", "Worsening by what it is put down to", causes),
        plain("What worsening is put down to is read from single events with a permanent deficit "
              "or death on record; it does not show that one led to the other."),
    ))


def _by_columns(results: Results) -> Table:
    return grouped_table(results, "function-by-rupture", "Function by rupture before treatment",
                         shown_at(Place.FUNCTION_BY_GROUP), "ruptured")


def shift_picture(results: Results) -> Picture:
    """The mRS before, at worst and at last as stacked bars."""
    bars = [(MOMENT_LABELS[moment], [
        results.one(one.id, "patient", {"mrs": str(score)})
        for score in SCORES]) for moment, one in zip(MOMENTS, DISTRIBUTIONS, strict=True)]
    caption = ("Modified Rankin Scale before treatment, at worst since the first treatment, and "
               "at the last visit at least 90 days after the last treatment (death is 6)")
    alt = f"{caption}: " + "; ".join(
        f"{label}: " + ", ".join(f"mRS {score} {e.events}/{e.n}"
                                 for score, e in enumerate(found)) for label, found in bars)
    return Picture("mrs-shift", caption, alt, lambda width: shift_figure(bars, width),
                   tuple(e for _, found in bars for e in found), rows_seen=False)


def _capital(text: str) -> str:
    """The first letter only: DMSO stays DMSO."""
    return text[:1].upper() + text[1:]


def _values(rows: pd.DataFrame, column: str) -> Floats:
    return rows[column].dropna().to_numpy(dtype=float)
