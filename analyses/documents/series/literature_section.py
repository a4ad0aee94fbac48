"""The manuscript's own numbers beside published series: methods, a paragraph, the supplement."""

from __future__ import annotations

from analyses.content.blocks import (
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
    short,
    title_of,
)
from analyses.documents.series.said import listed
from analyses.literature.comparison import Comparison, Literature
from analyses.statistics.pooling.predictive import PRIOR_SCALE

TITLE = "Beside published series"
SUPPLEMENT = "Published series, measure by measure"
METHODS = plain(
    "Published series are set beside our own rates where they print a count of nearly the same "
    "thing in the same unit (sources in @published). Three or more that count the same thing are "
    "pooled with a binomial–normal random-effects model by maximum likelihood (Stijnen and "
    "colleagues, 2010); no count is corrected, and lines that count some of the same patients are "
    "not pooled with each other. The 95 % prediction interval for a new series averages over how "
    "much series differ, weighted by the likelihood and by a half-normal distribution of scale "
    f"{PRIOR_SCALE:g} on the log odds (Röver and colleagues, 2021); the t interval of Higgins and "
    "colleagues (2009) is given with it. Our own rows that repeat within patients are compared at "
    "their number of independent rows.")
COLUMNS = ("Measure", "Series", "What was counted", "Agent", "Events/n (%, 95 % interval)",
           "Pooled")
NAME = "beside-literature"


def literature_methods(literature: Literature) -> list[Section]:
    """How the comparison was made; nothing where there is no published line."""
    return [Section("Comparison with published series", (METHODS,), level=2)
            ] if literature.lines else []


def literature_results(literature: Literature) -> list[Section]:
    """A short part of the results: what is pooled, where this service lies, and what is not."""
    if not literature.lines:
        return []
    pooled = [c for c in literature.comparisons if c.is_pooled]
    said = [Sentence(f"Rates with a published counterpart stand beside it in @{NAME}.")]
    for compared in pooled:
        said += [Sentence(f"{title_of(compared.one)}: {compared.own.number_text()} here.",
                          (compared.own,)),
                 Sentence(compared.one.difference), pooled_sentence(compared), _placed(compared)]
    apart = [_side_by_side(c) for c in literature.comparisons if not c.is_pooled and c.alike]
    if apart:
        apart.append(Sentence("Fewer than three published series count each of these; they are "
                              "set side by side and not pooled."))
    return [Section(TITLE, tuple(Paragraph(tuple(part)) for part in (
        said, apart, [Sentence(NO_VERDICT)]) if part), level=2)]


def literature_supplement(literature: Literature) -> list[Section]:
    """One table of every measure, the figures of those pooled, and every published line."""
    if not literature.lines:
        return []
    differing = tuple(
        Sentence(f"{title_of(c.one)}: {c.one.difference}") for c in literature.comparisons)
    pictures = [block for c in literature.comparisons if c.is_pooled
                for block in comparison_blocks(c) if isinstance(block, Picture)]
    simple = [(c, c.pooled.higgins) for c in literature.comparisons
              if c.is_pooled and c.pooled.higgins]
    said = [Sentence(TYPICAL)] + [
        Sentence(f"{title_of(c.one)}: the t interval of Higgins and colleagues (2009) for a new "
                 f"series would be {e.number_text().partition('(')[2].partition(')')[0]} %.", (e,))
        for c, e in simple]
    return [Section(SUPPLEMENT, (
        Points(differing), *([Paragraph(tuple(said))] if simple else []),
        _table(literature), *pictures, all_published(literature)), level=2, wide=True,
        supplement=True)]


def _placed(compared: Comparison) -> Sentence:
    return Sentence(compared.place.words, (compared.own, *compared.place.estimates))


def _side_by_side(compared: Comparison) -> Sentence:
    """Ours and those that count it most nearly, with their papers."""
    lines = compared.alike
    theirs = listed(f"{line.estimate.number_text()} in {short(line)}" for line in lines)
    return Sentence(f"{title_of(compared.one)}: {compared.own.number_text()} here, {theirs}.",
                    (compared.own, *(line.estimate for line in lines)))


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
