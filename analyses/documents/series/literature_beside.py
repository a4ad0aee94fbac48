"""The service's own rates beside those of published series: lines, pooled numbers, own place.

Only lines that count the same thing in the same unit are pooled; with fewer than two nothing is,
and with two no prediction is made. A place among series is neither a verdict nor a rank.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from analyses.content.blocks import Block, Cell, Paragraph, Picture, Section, Sentence, Table
from analyses.figures.figure_shares import interval_figure
from analyses.literature.compared import COMPARED, Beside, lines_for
from analyses.literature.comparison import (
    NEEDED_TOPICS,
    Comparison,
    Literature,
    beside_literature,
)
from analyses.literature.published import PublishedSeries
from analyses.measures.declared import about
from analyses.measures.results import Results
from analyses.statistics.estimate import Estimate, replaced
from analyses.statistics.pooling.pooled_proportion import FEWEST_POOLED, FEWEST_PREDICTED

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["COMPARED", "NEEDED_TOPICS", "Beside", "all_published", "comparison_blocks",
           "comparison_table", "lines_for", "literature_sections", "name_of", "pooled_sentence",
           "short", "title_of"]

INDEPENDENT = (
    "Intervals of published series are exact and take their rows as independent, because a "
    "paper's counts do not say which rows are of one patient; where patients had several sessions "
    "they are too narrow. The service's own interval allows for it.")
TYPICAL = ("Typical series: half of such series would have a lower proportion of their own, half "
           "a higher one; it is not the share among all patients together.")
NO_VERDICT = ("A place among published series is neither a verdict nor a rank: papers choose whom "
              "to treat, what to count and what to publish.")
NONE_POOLED = ("Fewer than two of these lines print a count of the same thing in the same unit: "
               "nothing is pooled.")
TWO_ONLY = ("Two series cannot tell how much series differ: the interval of a pooled number would "
            "be of almost any width, and none is given.")
NO_LINE = "No published line of the table counts this in this unit."


def literature_sections(
    results: Results, lines: Iterable[PublishedSeries] | None = None,
) -> tuple[Section, ...]:
    """A section a measure, and last the whole list of published lines.

    results: with the steps NEEDED_TOPICS at least; lines: a table of one's own (`read_series`),
    the package's where None.
    """
    found = beside_literature(results, lines)
    compared = [Section(title_of(c.one), comparison_blocks(c)) for c in found.comparisons]
    return (*compared, Section("Every published line", (all_published(found),)))


def comparison_blocks(compared: Comparison) -> tuple[Block, ...]:
    """What differs, what is pooled and what that says, the figures, and the table."""
    return (Paragraph(tuple(_said(compared))), *_pictures(compared), comparison_table(compared))


def all_published(literature: Literature) -> Table:
    """Every line of the table of published series, with its source."""
    rows = tuple(
        (Cell(line.citation, heading=True), Cell(line.measure), Cell(f"per {line.unit}"),
         Cell(line.agent_group), Cell(*_number(line)), Cell(line.identifier))
        for line in literature.lines)
    return Table("published", "Published series", (
        "Series", "What was counted", "Unit", "Agent", "Events/n (%, 95 % interval)", "Source"),
        rows, (INDEPENDENT,), folded=True)


def title_of(one: Beside) -> str:
    """The measure and its unit, as headings and captions write them."""
    return f"{about(one.id).label}, per {one.unit}"


def name_of(one: Beside) -> str:
    """The name of a comparison's table, which its figures' names begin with."""
    return f"beside-{one.id.replace('.', '-')}-{one.unit}"


def pooled_sentence(compared: Comparison) -> Sentence:
    """The pooled lines in one sentence, or that nothing is pooled."""
    pooled, k = compared.pooled, len(compared.alike)
    if not compared.is_pooled:
        return _not_pooled(compared)
    typical, spread, new = pooled.estimates
    said = (f"Published series that count {compared.alike[0].measure} per {compared.one.unit}: {k} "
            f"({pooled.estimate.events:,} events among {pooled.estimate.n:,}); in a typical one "
            f"{_range(typical)}, 95 % confidence interval {_span(typical)} %")
    return Sentence(
        f"{said}; a new series' own proportion would lie within {_span(new)} % (95 % prediction "
        f"interval). Standard deviation between series: {_without_n(spread)}.",
        (typical, new, spread))


def _not_pooled(compared: Comparison) -> Sentence:
    if len(compared.alike) < FEWEST_POOLED:
        return Sentence(NONE_POOLED)
    if len(compared.alike) >= FEWEST_PREDICTED:
        return Sentence(compared.pooled.notes[0])
    found = tuple(line.estimate for line in compared.alike)
    first, second = (e.number_text() for e in found)
    return Sentence(f"Two of these lines count the same thing per {compared.one.unit} ({first} "
                    f"and {second}). {TWO_ONLY}", found)


def comparison_table(compared: Comparison) -> Table:
    """This service, every line beside it, and what the pooled ones give."""
    own, one = compared.own, compared.one
    pooled = {line.id for line in compared.alike} if compared.is_pooled else set()
    rows: list[tuple[Cell, ...]] = [
        (Cell("This service", heading=True), Cell(about(one.id).label), Cell("all agents"),
         Cell(own.number_text(), own), Cell("")),
        *((Cell(line.citation, heading=True), Cell(line.measure), Cell(line.agent_group),
           Cell(*_number(line)), Cell("yes" if line.id in pooled else "no"))
          for line in compared.lines)]
    if pooled:
        rows += _pooled_rows(compared)
    return Table(
        name_of(one), f"{title_of(one)}: this service and published series",
        ("Series", "What was counted", "Agent", "Events/n (%, 95 % interval)", "Pooled"),
        tuple(rows), _notes(compared))


def _pooled_rows(compared: Comparison) -> list[tuple[Cell, ...]]:
    measure, k = compared.alike[0].measure, len(compared.alike)
    named = ("Typical series of those pooled", "Prediction for a new series")
    return [(Cell(name, heading=True), Cell(measure), Cell(""), Cell(_share(e), e),
             Cell(f"{k} series"))
            for name, e in zip(named, (compared.pooled.estimate, compared.pooled.prediction),
                               strict=True)]


def _said(compared: Comparison) -> list[Sentence]:
    """Everything that is said of one comparison, in order."""
    one = compared.one
    said = [Sentence(one.difference)]
    if not compared.lines:
        return [*said, Sentence(NO_LINE)]
    said += [Sentence(words) for words in _apart(compared)]
    said.append(pooled_sentence(compared))
    if compared.is_pooled:
        said += [Sentence(TYPICAL), *map(Sentence, compared.pooled.notes),
                 Sentence(compared.place.words, (compared.own, *compared.place.estimates)),
                 _simple(compared), Sentence(NO_VERDICT)]
    return said


def _apart(compared: Comparison) -> list[str]:
    """Why lines that are shown are not pooled."""
    one, left = compared.one, [line for line in compared.lines if line not in compared.alike]
    said = [one.apart] if one.apart and any(
        line.measure not in one.alike for line in left) else []
    twice = [short(line) for line in left if any(
        line.cohort == other.cohort and line.measure == other.measure for other in compared.alike)]
    if twice:
        said.append(f"{', '.join(twice)}: some of the same patients as another line, which has "
                    "more of them and stands for both.")
    return said


def _simple(compared: Comparison) -> Sentence:
    other = compared.pooled.higgins
    assert other is not None
    return Sentence(f"The simpler t interval of Higgins and colleagues (2009) for a new series "
                    f"would be {_span(other)} %.", (other,))


def _pictures(compared: Comparison) -> tuple[Picture, ...]:
    drawn = [line for line in compared.lines if line.estimate.value is not None]
    if not drawn or compared.own.value is None:
        return ()
    return (_intervals(compared, drawn), *_funnel(compared))


def _intervals(compared: Comparison, drawn: list[PublishedSeries]) -> Picture:
    one = compared.one
    found = [compared.own, *(line.estimate for line in drawn)]
    labels = ["This service", *(_label(line, drawn) for line in drawn)]
    if compared.is_pooled:
        found += [compared.pooled.estimate, compared.pooled.prediction]
        labels += ["Typical series of those pooled", "New series: 95 % prediction interval"]
    ending = (f"{len(compared.alike)} of them pooled" if compared.is_pooled else "not pooled")
    caption = (f"{title_of(one)}: this service and published series, with 95 % intervals; {ending}")
    alt = f"{caption}: " + "; ".join(
        f"{label.replace(chr(10), ', ')} {_share(e)}"
        for label, e in zip(labels, found, strict=True))
    return Picture(f"{name_of(one)}-figure", caption, alt,
                   lambda width: _interval_figure(compared, found, labels, width), tuple(found))


def _interval_figure(
    compared: Comparison, found: list[Estimate], labels: list[str], width: float,
) -> Figure:
    """The lines with their counts; pooled ones without (their counts are sums over series)."""
    shown = [replaced(e, events=None, n=None) if e.kind == "probability" else e for e in found]
    figure = interval_figure(shown, labels, width, f"Per {compared.one.unit} (%)")
    if compared.is_pooled:
        # Where a new series would lie is no confidence interval: told apart by line and mark.
        bar, mark = figure.axes[0].lines[-2:]
        bar.set_linestyle((0, (2, 1)))
        mark.set_markerfacecolor("white")
    return figure


def _funnel(compared: Comparison) -> tuple[Picture, ...]:
    """The funnel, where there are series enough for a prediction."""
    if not compared.is_pooled:
        return ()
    one, lines = compared.one, [line.estimate for line in compared.alike]
    names = [short(line) for line in compared.alike]
    caption = (f"{title_of(one)}: pooled series and this service by size, with the range that a "
               "new series of each size would show in 95 of 100")

    def draw(width: float) -> Figure:
        from analyses.figures.figure_literature import literature_funnel

        return literature_funnel(compared.pooled, lines, names, compared.own,
                                 compared.place.total, width)

    return (Picture(f"{name_of(one)}-funnel", caption, f"{caption}. {compared.place.words}", draw,
                    (compared.own, *lines, compared.pooled.estimate)),)


def _notes(compared: Comparison) -> tuple[str, ...]:
    notes = (INDEPENDENT,) if compared.one.unit != "patient" else ()
    if not compared.is_pooled:
        return notes
    return (*notes, f"Pooled: {compared.pooled.estimate.method}. Interval of the prediction: "
                    f"{compared.pooled.prediction.method}.")


def _label(line: PublishedSeries, lines: list[PublishedSeries]) -> str:
    """The paper; what it counted too, where the lines of a figure differ in that."""
    if len({other.measure for other in lines}) == 1:
        return short(line)
    return f"{short(line)}\n{line.measure}"


def _share(estimate: Estimate) -> str:
    """Numbers for a table: a pooled share without its counts, which are sums over series."""
    if estimate.kind != "probability":
        return estimate.number_text()
    return estimate.number_text().partition(")")[0] + ")"


def _range(estimate: Estimate) -> str:
    return estimate.number_text().partition(" (")[0]


def _span(estimate: Estimate) -> str:
    return estimate.number_text().partition("(")[2].partition(")")[0]


def _without_n(estimate: Estimate) -> str:
    return estimate.number_text().partition(", n")[0]


def _number(line: PublishedSeries) -> tuple[str, Estimate]:
    if line.estimate.value is None:
        return line.as_printed, line.estimate
    return line.estimate.number_text(), line.estimate


def short(line: PublishedSeries) -> str:
    """Authors and year."""
    return line.citation.partition(",")[0]
