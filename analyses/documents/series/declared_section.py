"""The questions named beforehand, and what everything else is: exploratory."""

from __future__ import annotations

from collections.abc import Sequence

from analyses.content.blocks import Block, Cell, Paragraph, Section, Sentence, Table, plain
from analyses.documents.series.model_tables import in_words
from analyses.documents.series.technique_sections import counted_text, lines_of
from analyses.documents.tables.measure_tables import number_cell
from analyses.measures.declared import about
from analyses.measures.null_findings import NullFindings
from analyses.models.declared_question import PRIMARY
from analyses.models.model_answered import AnsweredModel
from analyses.models.model_wording import ratio_text
from analyses.models.outcome_words import exposure_words
from analyses.models.planned_run import OBSERVATIONAL
from analyses.models.questions_answered import Answered, AnsweredQuestion
from analyses.models.technique_outcomes import outcome_label
from analyses.words.numerals import percent

NONE_NAMED = ("No question was named before the data were looked at: every comparison in this "
              "report is exploratory, and none has a P value.")
NAMED_LATE = ("The plan is dated after the data were frozen, so its questions were not named "
              "beforehand: every comparison in this report is exploratory, and none has a P value.")
DIFFER = ("Groups of an observational series differ in more than what names them: a difference "
          "describes, and does not show an effect.")


def declared_section(answered: tuple[Answered, ...], *, late: bool) -> Section:
    """Each declared question: counts of the groups and differences, or ratios, and its test."""
    title = "Questions named beforehand"
    if late or not answered:
        return Section(title, (plain(NAMED_LATE if late else NONE_NAMED),), level=2)
    groups = [one for one in answered if isinstance(one, AnsweredQuestion)]
    models = [one for one in answered if isinstance(one, AnsweredModel)]
    blocks: list[Block] = [plain(
        f"{_counted(len(answered))} named in a plan dated no later than the freeze. Intervals of "
        f"{_of_what(groups, models)} are wide enough for all of them to hold together at 95 %, and "
        "P values are adjusted after Holm (1979).",
        *([DIFFER] if groups else []), *([OBSERVATIONAL] if models else []))]
    blocks += [questions_table(groups)] if groups else []
    blocks += [models_table(models)] if models else []
    return Section(title, (*blocks, _tests(answered)), level=2)


def _of_what(groups: Sequence[AnsweredQuestion], models: Sequence[AnsweredModel]) -> str:
    named = [words for words, there in (("differences", groups), ("ratios", models)) if there]
    return " and ".join(named)


def questions_table(answered: Sequence[AnsweredQuestion]) -> Table:
    """A row a difference; where there is none, why."""
    rows = []
    for one in answered:
        head = (Cell(about(one.question.measure).label, heading=True),
                Cell(f"per {one.question.unit}"), Cell(one.by_words()))
        if not one.differences:
            rows.append((*head, Cell("none"), Cell(f"no comparison: {one.why}")))
        for e in one.differences:
            groups, = (e.group or {"": ""}).values()
            rows.append((*head, Cell(groups), number_cell(e)))
    return Table("declared-questions", "Questions named beforehand", (
        "Measure", "Unit", "By", "Groups", "Counts and difference (interval)"), tuple(rows),
        ("First group less the second, in percentage points.",))


def models_table(answered: Sequence[AnsweredModel]) -> Table:
    """A row a ratio of a model that answers a question; where there is none, why."""
    rows = []
    for one in answered:
        model = one.result.model
        head = (Cell(outcome_label(model.outcome), heading=True), Cell(f"per {model.unit}"))
        lines = [line for line in lines_of(one.result) if line.ratio is not None]
        if not one.ratios:
            rows.append((*head, Cell(exposure_words(model.exposure)),
                         Cell(f"no ratio: {in_words(one.why)}"), Cell("–")))
        for line, e in zip(lines, one.ratios, strict=False):
            rows.append((*head, Cell(line.label), Cell(f"{e.kind} {ratio_text(e)}", e),
                         Cell(counted_text(line))))
    return Table("declared-models", "Questions named beforehand, by technique", (
        "Outcome", "Unit", "Technique", "Adjusted ratio (interval)", "Events/rows; patients"),
        tuple(rows), ("Adjusted as the plan says; a ratio of 1 means no association.",))


def _tests(answered: Sequence[Answered]) -> Paragraph:
    return Paragraph(tuple(
        Sentence(f"{_asked(one)} "
                 f"({'primary' if one.question.role == PRIMARY else 'secondary'}): "
                 f"{one.test_text()}.", one.estimates) for one in answered))


def _asked(one: Answered) -> str:
    if isinstance(one, AnsweredModel):
        technique = exposure_words(one.result.model.exposure)
        return (f"{outcome_label(one.result.model.outcome)} by "
                f"{technique[:1].lower()}{technique[1:]}")
    return f"{about(one.question.measure).label} by {one.by_words()}"


def _counted(count: int) -> str:
    return "1 question was" if count == 1 else f"{count} questions were"


def by_chance(found: NullFindings) -> Sentence:
    """What the exploratory comparisons of this report would show if nothing went with anything."""
    if not found.printed:
        return Sentence("No difference is printed here, so chance has nothing to show.")
    return Sentence(
        f"Of {found.printed} differences in @differences {found.seen} leave out no difference. "
        f"With the outcomes of this report exchanged between patients {found.exchanges} times, so "
        f"that nothing went with anything, {found.average:.1f} did so on average, and at least one "
        f"did in {percent(found.any)} % of the exchanges.", found.estimates)
