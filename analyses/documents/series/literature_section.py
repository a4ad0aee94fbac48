"""The manuscript's own numbers beside published series: methods, a paragraph, the supplement."""

from __future__ import annotations

from analyses.content.blocks import (
    Block,
    Cell,
    Paragraph,
    Picture,
    Points,
    Section,
    Sentence,
    Table,
    plain,
)
from analyses.documents.series.literature_beside import (
    INDEPENDENT,
    NO_VERDICT,
    TYPICAL,
    all_published,
    comparison_blocks,
    comparison_table,
    pooled_sentence,
    title_of,
    why_not_pooled,
    without_a_line,
)
from analyses.documents.series.said import listed
from analyses.literature.compared import FEWEST_SERIES, YEARS
from analyses.literature.comparison import Comparison, Literature
from analyses.literature.place import BOUNDS
from analyses.statistics.pooling.predictive import PRIOR_SCALE

TITLE = "Beside published series"
SUPPLEMENT = "Published series, measure by measure"
METHODS = (
    "Every published line of the table that counts the same thing (the same definition code) in "
    "the same unit is set beside our own rate, whichever way it differs (sources in @published). "
    f"Lines are pooled only where {FEWEST_SERIES} series or more of the {YEARS} years before the "
    "freeze print their counts; lines that count some of the same patients are not pooled with "
    "each other.")
POOLING = (
    "Pooling: a binomial–normal random-effects model by maximum likelihood (Stijnen and "
    "colleagues, 2010); no count is corrected. The 95 % prediction interval for a new series "
    "averages over how much series differ, weighted by the likelihood and by a half-normal "
    f"distribution of scale {PRIOR_SCALE:g} on the log odds (Röver and colleagues, 2021); the t "
    "interval of Higgins and colleagues (2009) is given with it. In the funnel our own rows that "
    "repeat within patients count as their number of independent rows.")
NONE_POOLED = "No measure has so many: nothing is pooled, and the lines stand beside each other."
COLUMNS = ("Measure", "Series", "What was counted", "Agent", "Events/n (%, 95 % interval)",
           "Pooled")
NAME = "beside-literature"


def literature_methods(literature: Literature) -> list[Section]:
    """How the comparison was made; nothing where there is no published line."""
    if not literature.lines:
        return []
    pooled = any(c.is_pooled for c in literature.comparisons)
    return [Section("Comparison with published series",
                    (plain(METHODS, POOLING if pooled else NONE_POOLED),), level=2)]


def literature_results(literature: Literature) -> list[Section]:
    """A short part of the results: what is pooled, and what stands beside each other."""
    if not literature.lines:
        return []
    said = [Sentence(f"Rates with a published counterpart stand beside it in @{NAME}.")]
    alone = [c for c in literature.comparisons if not c.is_pooled]
    for compared in literature.comparisons:
        if compared.is_pooled:
            said += _pooled(compared)
    apart = [*map(_side_by_side, alone), *_why_alone(alone)]
    return [Section(TITLE, tuple(Paragraph(tuple(part)) for part in (
        said, apart, [Sentence(NO_VERDICT)]) if part), level=2)]


def literature_supplement(literature: Literature) -> list[Section]:
    """One table of every measure, the figures of those pooled, and every published line."""
    if not literature.lines:
        return []
    differing = tuple(Sentence(f"{title_of(c.one)}: {c.one.difference}")
                      for c in literature.comparisons if c.one.difference)
    pictures = [block for c in literature.comparisons if c.is_pooled
                for block in comparison_blocks(c) if isinstance(block, Picture)]
    simple = [(c, c.pooled.higgins) for c in literature.comparisons
              if c.pooled is not None and c.is_pooled and c.pooled.higgins]
    said = [Sentence(TYPICAL)] + [
        Sentence(f"{title_of(c.one)}: the t interval of Higgins and colleagues (2009) for a new "
                 f"series would be {e.number_text().partition('(')[2].partition(')')[0]} %.", (e,))
        for c, e in simple]
    blocks: list[Block] = [Points(differing)] if differing else []
    blocks += [Paragraph(tuple(said))] if simple else []
    blocks += [Paragraph((without_a_line(literature),))] if literature.without else []
    return [Section(SUPPLEMENT, (
        *blocks, _table(literature), *pictures, all_published(literature)), level=2, wide=True,
        supplement=True)]


def _pooled(compared: Comparison) -> list[Sentence]:
    """Ours, what differs, the pooled lines, and where the two intervals lie."""
    assert compared.pooled is not None and compared.place is not None
    own, difference = compared.own, compared.one.difference
    return [Sentence(f"{title_of(compared.one)}: {own.number_text()} here.", (own,)),
            *([Sentence(difference)] if difference else []),
            pooled_sentence(compared, compared.pooled), Sentence(compared.place.words, (own,))]


def _side_by_side(compared: Comparison) -> Sentence:
    """Ours and every line beside it, with their papers."""
    theirs = listed(
        f"{line.numbers} in {line.name}" + (f" ({line.subgroup})" if line.subgroup else "")
        for line in compared.lines)
    return Sentence(f"{title_of(compared.one)}: {compared.own.number_text()} here, {theirs}.",
                    (compared.own, *(line.estimate for line in compared.lines)))


def _why_alone(alone: list[Comparison]) -> list[Sentence]:
    """Why these stand unpooled: bounds, too few series, or no answer of the model."""
    said = []
    if any(c.own.kind == "bounds" for c in alone):
        said.append(Sentence(f"Where two counts are given for this service: {BOUNDS}"))
    few = [c for c in alone if c.pooled is None]
    if few:
        said.append(Sentence(
            f"Each of these has fewer than {FEWEST_SERIES} series of the {YEARS} years before the "
            f"freeze that print a count (at most {max(c.series for c in few)}): how much series "
            "differ cannot be told from so few, so nothing is pooled and this service is given no "
            "place."))
    return said + [Sentence(f"{title_of(c.one)}: {why_not_pooled(c)}")
                   for c in alone if c.pooled is not None]


def _table(literature: Literature) -> Table:
    """The tables of all comparisons under each other, the measure named in the first column."""
    rows: list[tuple[Cell, ...]] = []
    notes = [INDEPENDENT]
    for compared in literature.comparisons:
        table = comparison_table(compared)
        rows += [(Cell(title_of(compared.one), heading=True), *row) for row in table.rows]
        notes += [note for note in table.notes if note not in notes]
    return Table(NAME, "This service and published series, by measure and unit", COLUMNS,
                 tuple(rows), tuple(notes))
