"""The quality report: two pages for a meeting, and more of the same as a page inside the service.

Charts by operator code and days of single events stay inside; the version to share has neither.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

from analyses.content.blocks import (
    Block,
    Caution,
    Cell,
    Document,
    Paragraph,
    Points,
    Section,
    Sentence,
    Table,
    plain,
)
from analyses.documents.always_said import CAUTIONS, left_out, only_a_part
from analyses.documents.quality.quality_charts import (
    change_blocks,
    cusum_blocks,
    event_blocks,
    pareto_blocks,
)
from analyses.documents.quality.quality_inside import inside_sections
from analyses.documents.quality.quality_work import (
    QualityWork,
    Shown,
    first_change,
    quality_work,
    quarter_of,
    without_days,
)
from analyses.measures.declared import about
from analyses.monitoring.project import Project
from analyses.monitoring.watched import answered
from analyses.population.exclusions import hash_words
from analyses.statistics.estimate import Estimate

if TYPE_CHECKING:
    from analyses.monitoring.service import QualityAnalysis

__all__ = ["QualityWork", "quality_document", "quality_work"]

TITLE = "Brain AVM embolization: quality report"
NO_WORDS = ("No words file was given (--project): aim, changes and balancing measures are the "
            "service's to write.")


def quality_document(work: QualityWork, *, inside: bool) -> Document:
    """The report; `inside` the service with case lists, single days, operators and data quality."""
    told = work
    if not inside and work.analysis is not None:
        told = replace(work, analysis=without_days(work.analysis))
    sections = (
        Section("Aim", (*only_a_part(work.results.manifest), *_aim(work.project),
                        *_plan(work))),
        Section("Measures", (_measures(work),)),
        Section("Is harm more or less frequent?", (
            *_answer(work, inside), *_charts(told, inside))),
        Section("Before and after", _before_after(told)),
        Section("Practice limits", _limits(work)),
        *(inside_sections(work) if inside else ()),
        Section("Who was counted, and cautions", (
            Paragraph(left_out(work.results.manifest)),
            Caution("Before these numbers are used", tuple(map(Sentence, CAUTIONS))))),
    )
    manifest = work.results.manifest
    return Document(
        name="quality-report" if inside else "quality-report-to-share",
        title=work.project.title if work.project else TITLE,
        subtitle=f"{f'{TITLE}. ' if work.project else ''}Data frozen on "
        f"{manifest.get('date', 'an unknown day')}, {hash_words(manifest)}.",
        sections=tuple(section for section in sections if section.blocks),
        stays_inside=inside, compact=True,
    )


def _aim(words: Project | None) -> tuple[Block, ...]:
    if words is None:
        return (plain(NO_WORDS),)
    told = [words.aim, f"Baseline: {words.baseline}"]
    told += [f"Context: {words.context}"] if words.context else []
    changes = tuple(
        Sentence(f"{change.day.isoformat()}: {change.what}"
                 f"{f' (why: {change.why})' if change.why else ''}") for change in words.changes)
    return (plain(*told), *((Points(changes),) if changes else ()))


def _measures(work: QualityWork) -> Table:
    """Each measure with its definition, over the whole period and around the change."""
    change = first_change(work.changes)
    around = ("Before the change", "Since") if change else ()
    rows = tuple(
        (Cell(shown.measure.name, heading=True), Cell(shown.measure.kind), Cell(_definition(shown)),
         _number(shown.whole), *((_number(shown.before), _number(shown.since)) if change else ()))
        for shown in work.measures)
    return Table("measures", "The measures: events/n (%, 95 % interval)",
                 ("Measure", "Kind", "Definition", "Whole period", *around), rows)


def _definition(shown: Shown) -> str:
    if shown.measure.definition:
        return shown.measure.definition
    assert shown.whole is not None
    return about(shown.whole.id).definition(shown.whole.unit)


def _number(estimate: Estimate | None) -> Cell:
    return Cell("–") if estimate is None else Cell(estimate.number_text(), estimate)


def _plan(work: QualityWork) -> tuple[Block, ...]:
    """What was declared, where something was."""
    plan = work.plan
    if plan is None:
        return ()
    end = f", planned to {plan.planned_to}" if plan.planned_to else ""
    told = [f"Monitoring plan {plan.code}, declared on {plan.declared_on}: "
            f"{about(plan.measure).definition('session')}; baseline from {plan.baseline_from} to "
            f"{plan.baseline_to}{end}."]
    done = [Sentence(f"Signal {s.number} ({s.direction}): {s.done}")
            for s in reversed(plan.signals) if s.done]
    return (plain(*told), *((Points(tuple(done)),) if done else ()))


def _answer(work: QualityWork, inside: bool) -> tuple[Block, ...]:
    """The heading's question answered, then what to look at first."""
    answer = answered(work.analysis, work.plan, work.problem,
                      say=date.isoformat if inside else quarter_of)
    return (Paragraph((Sentence(answer.sentence, answer.estimates),
                       Sentence(answer.look_first, answer.estimates))),)


def _charts(work: QualityWork, inside: bool) -> tuple[Block, ...]:
    found = work.analysis
    if found is None:
        return (plain(work.problem),)
    return (*event_blocks(found), *cusum_blocks(found), *_one_by_one(found, inside))


def _one_by_one(found: QualityAnalysis, inside: bool) -> tuple[Block, ...]:
    """The events themselves, where there are too few for a limit; inside the service only."""
    events = found.sessions[found.sessions["complication"] == 1]
    if found.cusums or not inside or events.empty:
        return ()
    rows = tuple(
        (Cell(row["session_date"].date().isoformat(), heading=True), Cell(row["procedure_key"]),
         Cell(_blank(row["sm_grade"])), Cell({True: "yes", False: "no"}.get(row["ruptured"], "")))
        for row in events.iloc[::-1].to_dict("records"))
    return (Table("events-one-by-one", f"Sessions with {found.event}, the newest first",
                  ("Day", "Session", "Spetzler–Martin grade", "Ruptured"), rows),)


def _blank(value: object) -> str:
    return "" if str(value) in ("<NA>", "nan", "None") else str(value)


def _before_after(work: QualityWork) -> tuple[Block, ...]:
    return change_blocks(work.analysis) if work.analysis is not None else ()


def _limits(work: QualityWork) -> tuple[Block, ...]:
    found = work.process
    if found is None:
        return (plain("No injection of a liquid agent is recorded, so no limit was checked."),)
    missing = dict(zip(found.pareto["limit"], found.pareto["missing"], strict=True))
    wanted = dict(zip(work.limits.table()["limit"], work.limits.table()["wanted"], strict=True))
    rows = tuple(
        (Cell(name, heading=True), Cell(wanted.get(name, "")), Cell(e.number_text(), e),
         Cell(f"{int(missing.get(name, 0)):,}"))
        for e in found.kept if (name := (e.group or {}).get("limit", e.id)))
    return (Table(
        "practice-limits", f"Within the practice limits ({work.limits.source})",
        ("Limit", "Wanted", "Within/recorded (%, 95 % interval)", "Not recorded"), rows,
        ("Liquid copolymer agents only. The product's instructions for use and local protocol "
         "come first. A limit passed and a complication share causes.",)), *pareto_blocks(found))
