"""The questions named beforehand, and what everything else is: exploratory."""

from __future__ import annotations

from analyses.content.blocks import Block, Cell, Paragraph, Section, Sentence, Table, plain
from analyses.documents.tables.measure_tables import number_cell
from analyses.measures.declared import about
from analyses.measures.null_findings import NullFindings
from analyses.models.declared_question import PRIMARY
from analyses.models.questions_answered import AnsweredQuestion
from analyses.words.numerals import percent

NONE_NAMED = ("No question was named before the data were looked at: every comparison in this "
              "report is exploratory, and none has a P value.")
NAMED_LATE = ("The plan is dated after the data were frozen, so its questions were not named "
              "beforehand: every comparison in this report is exploratory, and none has a P value.")
DIFFER = ("Groups of an observational series differ in more than what names them: a difference "
          "describes, and does not show an effect.")


def declared_section(answered: tuple[AnsweredQuestion, ...], *, late: bool) -> Section:
    """Each declared question: counts of the groups, differences, and one test."""
    title = "Questions named beforehand"
    if late or not answered:
        return Section(title, (plain(NAMED_LATE if late else NONE_NAMED),), level=2)
    blocks: list[Block] = [plain(
        f"{_counted(len(answered))} named in a plan dated no later than the freeze. Intervals of "
        "differences are wide enough for all of them to hold together at 95 %, and P values are "
        "adjusted after Holm (1979).", DIFFER)]
    return Section(title, (*blocks, questions_table(answered), _tests(answered)), level=2)


def questions_table(answered: tuple[AnsweredQuestion, ...]) -> Table:
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


def _tests(answered: tuple[AnsweredQuestion, ...]) -> Paragraph:
    told = []
    for one in answered:
        role = "primary" if one.question.role == PRIMARY else "secondary"
        told.append(Sentence(
            f"{about(one.question.measure).label} by {one.by_words()} ({role}): "
            f"{one.test_text()}.", one.estimates))
    return Paragraph(tuple(told))


def _counted(count: int) -> str:
    return "1 question was" if count == 1 else f"{count} questions were"


def by_chance(found: NullFindings) -> Sentence:
    """What the exploratory comparisons of this report would show if nothing went with anything."""
    if not found.printed:
        return Sentence("No difference is printed here, so chance has nothing to show.")
    return Sentence(
        f"Of {found.printed} differences printed here {found.seen} leave out no difference. With "
        f"the outcomes of this report exchanged between patients {found.exchanges} times, so that "
        f"nothing went with anything, {found.average:.1f} did so on average, and at least one did "
        f"in {percent(found.any)} % of the exchanges.", found.estimates)
