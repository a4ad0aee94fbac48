"""The morbidity and mortality conference: one case, de-identified and blame-free.

Relative days instead of dates; no study code, site or operator code. The talk asks what the
system made likely, not who did it.
"""

from __future__ import annotations

from analyses.complications import marked_units
from analyses.counting import share
from analyses.estimate import Estimate
from analyses.figures_case import cause_diagram, course_figure
from analyses.literature import PublishedSeries, reported
from analyses.one_case import OneCase, course, one_case, similar_cases
from analyses.reports.always_said import CAUTIONS, CONFERENCE_CAUTIONS
from analyses.reports.case_tables import (
    event_table,
    lesion_tables,
    patient_table,
    similar_table,
    technique_tables,
)
from analyses.reports.content import (
    Caution,
    Cell,
    Document,
    Picture,
    Points,
    Section,
    Sentence,
    Table,
)
from analyses.results import Results
from registry.practice_limits import PracticeLimits, default_limits

FACTORS = {
    "Patient": ("Earlier bleed, age, illness?", "Medicines, coagulation?"),
    "Lesion": ("Flow, angioarchitecture?", "Outflow vein, aneurysm?"),
    "Technique": ("Position, plug, reflux?", "Rate, pauses, volume?"),
    "Equipment": ("Catheter, agent, mixing?", "Imaging, alarms?"),
    "Team": ("Roles, briefing, handover?", "Training, fatigue?"),
    "Organisation": ("Timing, planning, beds?", "Protocol, communication?"),
}
"""The categories of contributing factors (common practice, no source), with prompts."""

QUESTIONS = (
    "What was expected before the session, and what was different?",
    "Which sign came first, who saw it, and how long until it was acted on?",
    "What in the planning, equipment or surroundings made this more likely?",
    "What limited the harm, and would it work again?",
    "What would have to change so that the next team is less likely to meet this?",
)

PUBLISHED_MEASURES = {
    "intracranial haemorrhage": ("haemorrhagic", "haemorrhage unrelated"),
    "vessel perforation": ("haemorrhagic", "technical complication"),
    "retained catheter": ("technical complication",),
}
"""Kind of event → words of the published measures to show; any other kind: all complications."""

FOOTER = "Confidential peer review. Do not circulate. Describes; does not decide treatment."


def conference_document(
    results: Results, code: str, limits: PracticeLimits | None = None,
) -> tuple[Document, tuple[Estimate, ...]]:
    """The talk about one case, and the estimates in it that the results do not hold already.

    Raises CaseError where the freeze has no such case.
    """
    case = one_case(results.units, code)
    used = limits or default_limits()
    here = service_rates(results, case)
    sections = (
        Section("Before we begin", (_rules(),)),
        Section("The case", (patient_table(case), *lesion_tables(case)), _case_notes()),
        Section("The course", (_course(case),), ("Days count from the first vascular access.",)),
        Section("Technique beside the practice limits", technique_tables(case, used), (
            f"Limits: {used.source}. The product's instructions for use and local protocol come "
            "first.", "Rate: agent volume over pushing time (injection time less pauses).")),
        Section("The event", event_table(case)),
        Section("How often this happens here", _here(here, case), _rate_notes(here)),
        Section("How often others report it", _published(case), (
            "Intervals are exact binomial and take the paper's rows as independent.",
            "Papers differ in what they count; compare with care.")),
        Section("Similar earlier cases here", (similar_table(similar_cases(results.units, case)),)),
        Section("Contributing factors", (_factors(case),)),
        Section("Questions for discussion", (Points(tuple(map(Sentence, QUESTIONS))),)),
        Section("Actions", (_actions(),)),
    )
    document = Document(
        name="conference", title="Case for discussion",
        subtitle="Morbidity and mortality conference. " + CONFERENCE_CAUTIONS[1],
        sections=sections, stays_inside=False, footer=FOOTER,
    )
    return document, here


def service_rates(results: Results, case: OneCase) -> tuple[Estimate, ...]:
    """How often the service itself met an event of this kind, per session and per patient."""
    if case.index_event is None:
        return ()
    kind = str(case.index_event["kind"])
    flag = results.units.events["kind"].eq(kind).astype("boolean")
    return tuple(
        share(marked_units(results.units, unit, flag), "event", id="complication.of_kind",
              unit=unit, group={"kind": kind})
        for unit in ("session", "patient"))


def _rules() -> Caution:
    return Caution("Confidential peer review", tuple(
        map(Sentence, (*CONFERENCE_CAUTIONS, "We ask what made this likely, not who did it.",
                       CAUTIONS[0], CAUTIONS[2]))))


def _case_notes() -> tuple[str, ...]:
    return (
        "Age is given as a band, days count from the first vascular access, and operator, site "
        "and study code are left out.",
        "Spetzler–Martin grade: Spetzler and Martin 1986. Scores describe groups; they do not "
        "decide treatment.",
    )


def _course(case: OneCase) -> Picture:
    events = course(case)
    alt = "Course of the case: " + "; ".join(f"day {e.day} {e.words}" for e in events) + "."
    return Picture("course", "The course of the case, drawn to scale", alt,
                   lambda width: course_figure(events, width))


def _here(found: tuple[Estimate, ...], case: OneCase) -> tuple[Points, ...]:
    if not found:
        return (Points((Sentence(
            "No embolization complication is recorded for this case, so no rate is given."),)),)
    kind = case.index_event["kind"] if case.index_event is not None else ""
    return (Points(tuple(
        Sentence(e.sentence(f"{kind} after embolization"), (e,)) for e in found)),)


def _rate_notes(found: tuple[Estimate, ...]) -> tuple[str, ...]:
    return ("Counted: events not unrelated to the embolization, with onset from vascular access "
            "to 30 days after a session. This case is in the count.",
            *(f"{e.unit}: {e.method}." for e in found))


def published_lines(case: OneCase) -> list[PublishedSeries]:
    """The published lines to set beside this case's event."""
    kind = "" if case.index_event is None else str(case.index_event["kind"])
    words = PUBLISHED_MEASURES.get(kind, ("complication", "any new deficit"))
    return reported(words, ("session", "patient"))


def _published(case: OneCase) -> tuple[Table, ...]:
    rows = tuple(
        (Cell(line.citation, heading=True), Cell(line.measure), Cell(f"per {line.unit}"),
         Cell(line.agent_group),
         Cell(line.estimate.number_text() if line.estimate.value is not None
              else f"{line.as_printed}", line.estimate))
        for line in published_lines(case))
    return (Table("published", "Published series", (
        "Series", "What was counted", "Unit", "Agent", "Events/n (%, 95 % interval)"), rows),)


def _factors(case: OneCase) -> Picture:
    effect = "the course of this case" if case.index_event is None else str(
        case.index_event["kind"])
    prompts = "; ".join(f"{name}: {', '.join(asked)}" for name, asked in FACTORS.items())
    return Picture(
        "factors", "Contributing factors, as prompts to fill in",
        f"Cause-and-effect diagram with prompts for {effect}. {prompts}",
        lambda width: cause_diagram(FACTORS, effect, width))


def _actions() -> Table:
    blank = (Cell(""), Cell(""), Cell(""), Cell(""))
    return Table("actions", "Actions agreed", (
        "What will change", "Role in charge", "By when", "How we will know it worked"),
        (blank,) * 5)

