"""Results: every number in a sentence or a table, from its estimate."""

from __future__ import annotations

from analyses.content.blocks import Block, Paragraph, Section, Sentence, plain
from analyses.documents.pictures import by_grade_picture, by_unit_picture, timeline_picture
from analyses.documents.series.event_sections import kinds_picture
from analyses.documents.series.main_tables import (
    closure_table,
    function_table,
    harm_table,
    procedure_table,
)
from analyses.documents.series.outcomes_sections import (
    blood_loss_picture,
    dose_picture,
    limits_picture,
    shift_picture,
)
from analyses.documents.series.questions_sections import flow_picture
from analyses.documents.series.said import paragraph, told
from analyses.documents.series.time_sections import (
    bleed_free_pictures,
    obliteration_pictures,
    rates_picture,
)
from analyses.documents.tables.measurement_tables import baseline_table
from analyses.measures import haemorrhage as bleeds
from analyses.measures import over_time as time
from analyses.measures.baseline import AGE, PRESENTATION
from analyses.measures.declared import about, shown_at
from analyses.measures.places import Place
from analyses.measures.resection import CONFOUNDED
from analyses.measures.results import Results
from analyses.measures.small_cells import SUPPRESSED
from analyses.measures.weaknesses import EMBOLIZED
from analyses.statistics.estimate import Estimate
from analyses.words.estimate_text import plural

PATIENT = ((AGE.id, "patient"), (f"{PRESENTATION.id}.haemorrhage", "patient"))
def results_sections(results: Results, technique: tuple[Block, ...]) -> list[Section]:
    """The results in parts. `technique`: the blocks on technique and outcome, none where none."""
    parts = [
        Section("Results", (plain(
            "Numbers of patients flow from all recorded to each analysis in @flow.",),)),
        Section("Patients and lesions", _patients(results), level=2),
        Section("Procedure and technique", _procedure(results), level=2),
        Section("Obliteration and resection", _closure(results), level=2),
        Section("Complications", _harm(results), level=2),
        Section("Function and follow-up", _function(results), level=2),
    ]
    if technique:
        parts.append(Section("Technique and outcome", technique, level=2))
    return parts


def _patients(results: Results) -> tuple[Block, ...]:
    patients, lesions, sessions, injections = (
        results.one(f"count.{name}", name[:-1])
        for name in ("patients", "lesions", "sessions", "injections"))
    embolized = results.one(EMBOLIZED, "patient")
    was = "was" if patients.n == 1 else "were"
    said = (f"{counted_in_words(patients)} with {counted_in_words(lesions)} {was} treated; "
            f"{embolized.n:,} of them had {counted_in_words(sessions)} of embolization with "
            f"{counted_in_words(injections)}.")
    found = [e for e in results.estimates if e.id.startswith("baseline.")]
    return (
        Paragraph((Sentence(said, (patients, lesions, embolized, sessions, injections)),
                   *(s for pair in PATIENT for s in told(results, *pair)),
                   *_open(results, "baseline"))),
        flow_picture(results), baseline_table(results.units, found, "ruptured"),
        timeline_picture(results),
    )


def _open(results: Results, stem: str) -> list[Sentence]:
    """Where values of this kind are missing, that the table shows it."""
    missing = [e for e in results.estimates
               if e.id.startswith(f"{stem}.") and e.id.endswith(".missing") and not e.group
               and e.kind != SUPPRESSED and e.events]
    if not missing:
        return [Sentence("All characteristics are shown in @baseline.")]
    worst = max(missing, key=lambda e: e.value or 0)
    label = about(worst.id.removesuffix(".missing")).label
    return [Sentence("All characteristics are shown in @baseline, with how often each was not "
                     "recorded."),
            Sentence(f"Most often not recorded: {label} ({worst.number_text()}; "
                     f"{plural(worst.unit)}).", (worst,))]


def _procedure(results: Results) -> tuple[Block, ...]:
    return (
        paragraph(results, Place.PROCEDURE_TEXT,
                  "Procedures are described in @procedure-and-technique.",
                  "By formulation they stand in @procedures-by-formulation."),
        paragraph(results, Place.LIMITS_TEXT,
                  "The share within each practice limit is drawn in "
                  "@practice-limits."),
        procedure_table(results), limits_picture(results), dose_picture(results),
    )


def _closure(results: Results) -> tuple[Block, ...]:
    return (
        paragraph(results, Place.CLOSURE_TEXT,
                  "Closure of the nidus is given in @obliteration-and-resection.",
                  "By Spetzler–Martin grade it is drawn in @embolization-complete-by-grade and "
                  "@final-confirmed-by-grade."),
        paragraph(results, Place.OPERATION_TEXT,
                  "The operation by extent of embolization is shown in "
                  "@resection-by-extent and @blood-loss-by-extent.", CONFOUNDED),
        closure_table(results),
        *(by_grade_picture(results, *pair) for pair in shown_at(Place.CLOSURE_BY_GRADE)
          if not results.hidden or results.by(*pair, "sm_grade")),
        blood_loss_picture(results), *obliteration_pictures(results),
    )


def _harm(results: Results) -> tuple[Block, ...]:
    return (
        paragraph(results, Place.HARM_TEXT,
                  "Complications are given in @complications-summary, by unit of "
                  "analysis in @complication-any-by-unit and by kind in @kinds-of-complication.",
                  "Every recorded event is listed in @events."),
        harm_table(results),
        *(by_unit_picture(results, id)
          for id in dict.fromkeys(id for id, _ in shown_at(Place.HARM_BY_UNIT))),
        kinds_picture(results),
    )


def _function(results: Results) -> tuple[Block, ...]:
    overall = [s for year in ("1", "2") for s in told(
        results, time.OBLITERATION, "lesion", {"years": year})]
    free = told(results, time.BLEED_FREE, "patient", {"years": str(time.GROUPED_AT)})
    return (
        paragraph(results, Place.FUNCTION_TEXT,
                  "Function is given in @function-and-follow-up.",
                  "The modified Rankin Scale is drawn in @mrs-shift."),
        Paragraph((Sentence("Haemorrhage rates by stage are drawn in "
                            "@haemorrhage-rates-by-stage; bleeds from a treatment day to day 30 "
                            "are among the complications."),
                   *(s for id, unit in shown_at(Place.BLEEDING_TEXT)
                     for stage in bleeds.IN_MAIN_TEXT
                     for s in told(results, id, unit, {"stage": stage})))),
        Paragraph((*told(results, time.FOLLOW_UP, "patient"), *overall, *free,
                   *told(results, time.RECURRENCE, "lesion", {"years": str(time.GROUPED_AT)}))),
        function_table(results), shift_picture(results), rates_picture(results),
        *bleed_free_pictures(results),
    )


def counted_in_words(estimate: Estimate) -> str:
    """`140 patients`, `1 lesion`."""
    n, unit = estimate.n or 0, estimate.unit
    return f"{n:,} {unit if n == 1 else plural(unit)}"
