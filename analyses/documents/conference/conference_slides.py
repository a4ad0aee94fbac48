"""The morbidity and mortality conference: one case, de-identified and blame-free.

Relative days instead of dates; no study code, site or operator code. The talk asks what the
system made likely, not who did it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from analyses.cases.case_hours import event_day
from analyses.cases.case_signal import CaseSignal, case_signal
from analyses.cases.one_case import (
    MrsPoint,
    OneCase,
    course,
    mrs_course,
    one_case,
    similar_cases,
)
from analyses.cases.open_actions import OpenAction, open_actions
from analyses.content.blocks import (
    Block,
    Caution,
    Cell,
    Document,
    Picture,
    PicturePlaces,
    Points,
    Section,
    Sentence,
    Table,
)
from analyses.documents.always_said import CAUTIONS, CONFERENCE_CAUTIONS, only_a_part
from analyses.documents.conference.actions_open import (
    actions_table,
    estimates_of_actions,
    numbered,
)
from analyses.documents.conference.case_evidence import (
    compared_with,
    here_blocks,
    measured,
    published_blocks,
    published_lines,
    service_rates,
    signal_blocks,
    signal_words,
)
from analyses.documents.conference.case_planned import planned_blocks
from analyses.documents.conference.case_reviewed import factor_found, told_before
from analyses.documents.conference.case_summary import after_table, summary_table
from analyses.documents.conference.case_tables import (
    choice_words,
    event_blocks,
    lesion_tables,
    more_lesion_tables,
    similar_blocks,
)
from analyses.documents.conference.case_technique import every_injection, technique_blocks
from analyses.figures.figures_case import cause_diagram, course_figure, mrs_figure
from analyses.figures.figures_hours import hours_figure
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

PICTURES = ("Angiogram before", "Angiogram after", "CT before", "CT after")
NOT_CHARTED = ("The service's charts follow the sessions of embolization. This event is none of "
               "theirs, so they can say nothing of it.")
MOST_POINTS = 6
"""Values of mRS that stand in one line."""
CHOICE = ("Where a case has several events, the gravest of any phase is discussed unless another "
          "is asked for: death, then permanent deficit, then any deficit, then symptoms, then the "
          "earliest.")
FOOTER = "Confidential peer review. Do not circulate. Describes; does not decide treatment."
SET = ("Counted: events not unrelated to the embolization, with onset from vascular access to 30 "
       "days after a session.")


@dataclass(frozen=True)
class Talk:
    """One case for a conference.

    slides: what is shown; page: the same with what does not fit on slides; estimates: those in it
    that the results do not hold already; choice: which event is discussed and why, in words.
    """

    slides: Document
    page: Document
    estimates: tuple[Estimate, ...]
    choice: str


def conference_talk(
    results: Results, code: str, number: int | None = None, limits: PracticeLimits | None = None,
) -> Talk:
    """The talk about one case, and about one of its events.

    number: that of the event among all of the case (see `case_events`); None takes the gravest.
    Raises CaseError where the freeze has no such case or event.
    """
    case = one_case(results.units, code, number)
    used = limits or results.limits or default_limits()
    here, signal = service_rates(results, case), case_signal(results.units, case)
    wider = measured(results, case)
    actions = numbered(open_actions(results.units))
    told = (*here, *wider)
    sections = (
        *_opening(results, case, told, actions), *_about_case(case, used),
        *_about_service(results, case, here, signal), *_to_discuss(case))
    slides = Document(
        name="conference", title="Case for discussion", subtitle=_subtitle(case),
        sections=sections, stays_inside=False, footer=FOOTER)
    page = replace(slides, sections=(*sections, *_only_on_page(results, case, used, signal)))
    published = tuple(line.estimate for line in published_lines(case))
    return Talk(slides, page, (*told, *estimates_of_actions(actions), *published,
                               *(signal.estimates if signal else ())), choice_words(case))


def _subtitle(case: OneCase) -> str:
    kind = "no event recorded" if case.index_event is None else str(
        case.index_event[Complications.kind])
    return f"Morbidity and mortality conference: {kind}"


def _days(case: OneCase) -> str:
    return (f"Days count from {case.zero_words} (day 0); dates, operator, site and study code are "
            "left out.")


def _opening(
    results: Results, case: OneCase, here: tuple[Estimate, ...], actions: tuple[OpenAction, ...],
) -> tuple[Section, ...]:
    """The rules of the discussion, the actions still open, and the case on one slide."""
    still = (Section("What we decided before", (actions_table(actions, results.manifest),), (
        "The actions still open, the one due first at the head. Enter in the registry what was "
        "done and what was dropped.",)),) if actions else ()
    return (
        Section("Before we begin", (*only_a_part(results.manifest), _rules()), (_days(case),)),
        *still,
        Section("In one slide", (summary_table(case, here),), (_days(case), CHOICE)),
    )


def _about_case(case: OneCase, limits: PracticeLimits) -> tuple[Section, ...]:
    """The case, its pictures, what was planned and happened, its course, the event, technique."""
    days = _days(case)
    return (
        Section("The case", lesion_tables(case), _case_notes(days)),
        Section("Angiogram and CT, before and after", (PicturePlaces("pictures", PICTURES),), (
            "Put the pictures in by hand, without name, number or date of the patient in them.",)),
        Section("Planned beside happened", (*planned_blocks(case), *told_before(case)), (
            days, "Planned: as recorded before the session. An empty place: nothing is planned of "
            "it that the registry holds. The pressure that was reached is to be told by whoever "
            "gave the anaesthetic.")),
        Section("The course", (*_function_line(case), _course(case)), (
            f"Drawn to scale. {days}", "Each tick above a session is an injection.",
            "Occlusion: share of the original nidus no longer filling after the session.")),
        *_by_the_hour(case),
        Section("The event", event_blocks(case), (
            days, CHOICE, "Clavien–Dindo grade: Dindo 2004. Deficit: transient if gone within 30 "
            "days. What a review judged stands on the last slide.")),
        *_technique(case, limits),
    )


def _technique(case: OneCase, limits: PracticeLimits) -> tuple[Section, ...]:
    """What was injected how; nothing where nothing was injected."""
    if case.tables["injections"].empty:
        return ()
    return (
        Section("Technique", technique_blocks(case, limits), (
            f"Limits: {limits.source}. The product's instructions for use and local protocol come "
            "first.", "Mean rate: agent volume over pushing time (injection time less pauses).",
            "An injection outside a limit is described; it does not explain the event. Every "
            "injection with all that is recorded of it stands on the page.")),
    )


def _by_the_hour(case: OneCase) -> tuple[Section, ...]:
    """The day of the event by the hour, where an hour is recorded."""
    day = event_day(case)
    if day is None:
        return ()
    told = "; ".join(f"{mark.hour:g} h {mark.words}" for mark in day.marks)
    picture = Picture(
        "hours", f"From the end of the {day.procedure}, to scale", f"By the hour: {told}.",
        lambda width: hours_figure(day, width))
    by_day = (Points((Sentence(f"Known to the day only: {'; '.join(day.by_day)}."),)),
              ) if day.by_day else ()
    return (Section("The event by the hour", (picture, *by_day), (
        "Hours after the procedure as recorded; recognition and treatment in minutes from the "
        "onset.",)),)


def _about_service(
    results: Results, case: OneCase, here: tuple[Estimate, ...], signal: CaseSignal | None,
) -> tuple[Section, ...]:
    """The service's own rate, others' beside it, the charts."""
    return (
        Section("How often this happens, here and elsewhere",
                (*here_blocks(results, case, here), *published_blocks(results, case)),
                (*_similar_words(results, case), *_here_notes(here), *_published_notes(case))),
        Section("Is this a signal?", _signal_shown(case, signal), (
            *(s.text for s in signal_words(signal)), *_signal_notes(signal))),
    )


def _signal_shown(case: OneCase, signal: CaseSignal | None) -> tuple[Block, ...]:
    """The charts of the sessions, where the event is one of a session."""
    event = case.index_event
    if event is not None and not bool(event["counted"]):
        return (Points((Sentence(NOT_CHARTED),)),)
    return signal_blocks(signal)


def _to_discuss(case: OneCase) -> tuple[Section, ...]:
    """What the room fills in: factors with what is to change, then what was learnt."""
    return (
        Section("What made it likely, and what has to change?", (_findings(case),), (
            "Prompts, not findings: ask of each branch what made the event more likely; a branch "
            "may stay empty. Roles, never names; each change with a day and with how its effect "
            "will be seen.", *QUESTIONS)),
        Section("After the discussion", (after_table(case),), (
            "Preventability is judged when everything has been said, not before: who knows the "
            "outcome finds it foreseeable. Enter what was agreed in the registry "
            "(conference_reviews, actions); the next conference opens with it.",)),
    )


def _only_on_page(
    results: Results, case: OneCase, limits: PracticeLimits, signal: CaseSignal | None,
) -> tuple[Section, ...]:
    """What does not fit on slides: every injection, function, charts in words, similar cases."""
    said = signal_words(signal)
    more = (
        ("Every injection", every_injection(case, limits)),
        ("More of the lesion", more_lesion_tables(case)),
        ("Function", _function(case)),
        ("What these charts can and cannot show", (Points(said),) if said else ()),
        ("Similar earlier cases here", _similar(results, case)),
        ("Contributing factors, as prompts", (_factors(case),)),
        ("Questions for discussion", (Points(tuple(map(Sentence, QUESTIONS))),)),
    )
    return tuple(Section(title, blocks) for title, blocks in more if blocks)


def _similar(results: Results, case: OneCase) -> tuple[Block, ...]:
    return () if case.index_event is None else similar_blocks(similar_cases(results.units, case))


def _similar_words(results: Results, case: OneCase) -> tuple[str, ...]:
    """How many earlier patients had an event of the same kind, for the speaker."""
    if case.index_event is None:
        return ()
    count = len(similar_cases(results.units, case))
    told = {0: "No earlier embolization complication of this kind in another patient is recorded.",
            1: "One earlier embolization complication of this kind is recorded."}
    return (told.get(count, f"{count} earlier embolization complications of this kind are "
                            "recorded.") + " They stand on the page; so few describe, they prove "
            "nothing.",)


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


def _function_line(case: OneCase) -> tuple[Block, ...]:
    """mRS at each contact in a line below the course."""
    points = mrs_course(case)
    told = ", ".join(f"day {p.day}: {p.mrs}" for p in _few(points)) or "not recorded"
    return (Points((Sentence(f"mRS: {told}."),)),)


def _few(points: list[MrsPoint]) -> list[MrsPoint]:
    """The first, the worst and the last of a long course of mRS; a short one whole."""
    if len(points) <= MOST_POINTS:
        return points
    worst = max(points, key=lambda p: p.mrs)
    return sorted({points[0], worst, *points[-3:]}, key=lambda p: (p.day, p.mrs))


def _function(case: OneCase) -> tuple[Block, ...]:
    points, events = mrs_course(case), course(case)
    if not points:
        return (Points((Sentence("No mRS is recorded for this case."),)),)
    alt = "mRS over time: " + "; ".join(f"day {p.day} mRS {p.mrs}" for p in points) + "."
    return (Picture("function", "mRS before treatment and at each contact, to scale", alt,
                    lambda width: mrs_figure(points, events, case.zero_words, width)),)


def _here_notes(found: tuple[Estimate, ...]) -> tuple[str, ...]:
    methods = dict.fromkeys(f"Interval per {e.unit}: {e.method}." for e in found)
    counted = (SET, "This case is in the count.") if found else ()
    return (*counted, *methods, "The service's rate is not the risk of the next patient.")


def _published_notes(case: OneCase) -> tuple[str, ...]:
    one = compared_with(case)
    if one is None:
        return ()
    return (
        f"Ours: {about(one.id).definition(one.unit)}.", one.difference,
        *(f"{line.source}: {line.counted}, {line.numbers}; "
          f"{line.identifier}." for line in published_lines(case)),
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


def _findings(case: OneCase) -> Table:
    rows = tuple((Cell(name, heading=True), Cell(asked[0]), Cell(factor_found(case, name)),
                  Cell(""))
                 for name, asked in FACTORS.items())
    return Table("findings", "To fill in", (
        "Branch", "Ask", "What we found", "What will change: role, by when"), rows)
