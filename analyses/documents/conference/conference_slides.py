"""The morbidity and mortality conference: one case, de-identified and blame-free.

Relative days instead of dates; no study code, site or operator code. The talk asks what the
system made likely, not who did it.
"""

from __future__ import annotations

from analyses.cases.case_signal import CaseSignal, case_signal
from analyses.cases.one_case import OneCase, course, mrs_course, one_case, similar_cases
from analyses.content.blocks import (
    Block,
    Caution,
    Cell,
    Document,
    Picture,
    Points,
    Section,
    Sentence,
    Table,
)
from analyses.documents.always_said import CAUTIONS, CONFERENCE_CAUTIONS, only_a_part
from analyses.documents.conference.case_evidence import (
    compared_with,
    here_blocks,
    published_blocks,
    service_rates,
    signal_blocks,
    signal_words,
)
from analyses.documents.conference.case_tables import (
    event_blocks,
    lesion_tables,
    patient_table,
    similar_blocks,
)
from analyses.documents.conference.case_technique import technique_blocks
from analyses.documents.series.literature_beside import lines_for
from analyses.figures.figures_case import cause_diagram, course_figure, mrs_figure
from analyses.measures.declared import about
from analyses.measures.results import Results
from analyses.statistics.estimate import Estimate
from registry.clinical.practice_limits import PracticeLimits, default_limits
from registry.schema import Complications

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

FOOTER = "Confidential peer review. Do not circulate. Describes; does not decide treatment."
SET = ("Counted: events not unrelated to the embolization, with onset from vascular access to 30 "
       "days after a session.")


def conference_document(
    results: Results, code: str, limits: PracticeLimits | None = None,
) -> tuple[Document, tuple[Estimate, ...]]:
    """The talk about one case, and the estimates in it that the results do not hold already.

    Raises CaseError where the freeze has no such case.
    """
    case = one_case(results.units, code)
    here, signal = service_rates(results, case), case_signal(results.units, case)
    document = Document(
        name="conference", title="Case for discussion", subtitle=_subtitle(case),
        sections=(*_about_case(results, case, limits or results.limits or default_limits()),
                  *_about_service(results, case, here, signal), *_to_discuss(results, case)),
        stays_inside=False, footer=FOOTER,
    )
    published = tuple(line.estimate for line in lines_for(compared_with(case)))
    return document, (*here, *published, *(signal.estimates if signal else ()))


def _subtitle(case: OneCase) -> str:
    kind = "no embolization complication recorded" if case.index_event is None else str(
        case.index_event[Complications.kind])
    return f"Morbidity and mortality conference: {kind}"


def _about_case(
    results: Results, case: OneCase, limits: PracticeLimits,
) -> tuple[Section, ...]:
    """Rules of the discussion, the case, its course, the technique, the event."""
    days = (f"Days count from {case.zero_words} (day 0); dates, operator, site and study code are "
            "left out.")
    return (
        Section("Before we begin", (*only_a_part(results.manifest), _rules()), (days,)),
        Section("The case", (patient_table(case), *lesion_tables(case)), _case_notes(days)),
        Section("The course of treatment", (_course(case),), (
            f"Drawn to scale. {days}", "Each tick above a session is an injection.",
            "Occlusion: share of the original nidus no longer filling after the session.")),
        Section("Function", _function(case), (
            "mRS: modified Rankin Scale, 0 no symptoms to 6 dead; before treatment and at each "
            "follow-up as recorded.", days)),
        Section("Technique beside the practice limits", technique_blocks(case, limits), (
            f"Limits: {limits.source}. The product's instructions for use and local protocol come "
            "first.", "Mean rate: agent volume over pushing time (injection time less pauses).",
            "An injection outside a limit is described; it does not explain the event.")),
        Section("The event", event_blocks(case), (
            days, "Where a case has several events, the gravest is discussed first: death or "
            "permanent deficit, then any deficit, then symptoms, then the earliest.",
            "Clavien–Dindo grade: Dindo 2004. Deficit: transient if gone within 30 days.")),
    )


def _about_service(
    results: Results, case: OneCase, here: tuple[Estimate, ...], signal: CaseSignal | None,
) -> tuple[Section, ...]:
    """The service's own rate, others' beside it, the charts, similar cases."""
    return (
        Section("How often this happens, here and elsewhere",
                (*here_blocks(results, case, here), *published_blocks(results, case)),
                (*_here_notes(here), *_published_notes(case))),
        Section("Is this a signal?", signal_blocks(signal), _signal_notes(signal)),
        *_what_charts_show(signal),
        *_similar(results, case),
    )


def _similar(results: Results, case: OneCase) -> tuple[Section, ...]:
    if case.index_event is None:
        return ()
    return (Section("Similar earlier cases here",
                    similar_blocks(similar_cases(results.units, case)), (
        SET, "Earlier: onset before this event's. The same kind of event, another patient.",
        "So few cases describe; they prove nothing.")),)


def _what_charts_show(signal: CaseSignal | None) -> tuple[Section, ...]:
    said = signal_words(signal)
    return (Section("What these charts can and cannot show", (Points(said),),
                    _signal_notes(signal)),) if said else ()


def _to_discuss(results: Results, case: OneCase) -> tuple[Section, ...]:
    """Prompts, questions, actions: what the room fills in."""
    return (
        Section("Contributing factors", (_factors(case),), (
            "Prompts, not findings. Ask of each branch what made the event more likely; a branch "
            "may stay empty.",)),
        Section("Contributing factors: what we found", (_findings(),), (
            "To be filled in during the discussion: roles, never names.",)),
        Section("Questions for discussion", (Points(tuple(map(Sentence, QUESTIONS))),)),
        Section("Actions", (_actions(),), (
            "Roles, never names; each action with a day and with how its effect will be seen.",)),
    )


def _rules() -> Caution:
    return Caution("Confidential peer review", tuple(map(Sentence, (
        *CONFERENCE_CAUTIONS[:2], "We ask what made this likely, not who did it.",
        CONFERENCE_CAUTIONS[2], CAUTIONS[2]))))


def _case_notes(days: str) -> tuple[str, ...]:
    return (
        f"Age is given as a band. {days}",
        "Spetzler–Martin grade: Spetzler and Martin 1986. Spetzler–Ponce class: Spetzler and "
        "Ponce 2011. Grades describe groups; they do not decide treatment.",
    )


def _course(case: OneCase) -> Picture:
    events = course(case)
    alt = "Course of the case, to scale: " + "; ".join(
        f"day {e.day} {e.words}" for e in events) + "."
    return Picture("course", "Sessions with their injections, operations and events, to scale", alt,
                   lambda width: course_figure(events, case.zero_words, width))


def _function(case: OneCase) -> tuple[Block, ...]:
    points, events = mrs_course(case), course(case)
    if not points:
        return (Points((Sentence("No mRS is recorded for this case."),)),)
    alt = "mRS over time: " + "; ".join(f"day {p.day} mRS {p.mrs}" for p in points) + "."
    return (Picture("function", "mRS before treatment and at each contact, to scale", alt,
                    lambda width: mrs_figure(points, events, case.zero_words, width)),)


def _here_notes(found: tuple[Estimate, ...]) -> tuple[str, ...]:
    methods = dict.fromkeys(f"Interval per {e.unit}: {e.method}." for e in found)
    case = ("This case is in the count.",) if found else ()
    return (SET, *case, *methods, "The service's rate is not the risk of the next patient.")


def _published_notes(case: OneCase) -> tuple[str, ...]:
    one = compared_with(case)
    lines = lines_for(one)
    return (
        f"Ours: {about(one.id).definition('session')}.", one.difference,
        *(f"{line.source}: {line.counted}, {line.numbers}; "
          f"{line.identifier}." for line in lines),
        "Published intervals are exact binomial and take the paper's rows as independent; ours is "
        "clustered on the patient. Papers differ in what they count: compare with care.",
    )


def _signal_notes(signal: CaseSignal | None) -> tuple[str, ...]:
    if signal is None:
        return ()
    analysis = signal.analysis
    chart = () if signal.chart is None else (f"Chart: {signal.chart.method}.",)
    risk = () if analysis.risk is None else (f"Expected risks: {analysis.risk.source}.",)
    return (
        f"Charted: {about(signal.measure).definition('session')}.", *analysis.choice.why, *chart,
        "CUSUM: risk-adjusted, Steiner 2000, odds multiplied by 2; limit for one false alarm in "
        "1,000 sessions.", *risk, *analysis.problems,
        "A signal asks for a look at data, case mix, equipment and process, and only then at "
        "persons. One case is never a signal by itself.",
    )


def _factors(case: OneCase) -> Picture:
    effect = "the course of this case" if case.index_event is None else str(
        case.index_event[Complications.kind])
    prompts = "; ".join(f"{name}: {', '.join(asked)}" for name, asked in FACTORS.items())
    return Picture(
        "factors", "Contributing factors, as prompts to fill in",
        f"Cause-and-effect diagram with prompts for {effect}. {prompts}",
        lambda width: cause_diagram(FACTORS, effect, width))


def _findings() -> Table:
    rows = tuple((Cell(name, heading=True), Cell(" ".join(asked)), Cell(""))
                 for name, asked in FACTORS.items())
    return Table("findings", "To fill in", ("Branch", "Prompts", "What we found"), rows)


def _actions() -> Table:
    blank = (Cell(""), Cell(""), Cell(""), Cell(""))
    return Table("actions", "Actions agreed", (
        "What will change", "Role in charge", "By when", "How we will know it worked"),
        (blank,) * 5)
