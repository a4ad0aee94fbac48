"""The service's own rates beside those of published series: lines, pooled numbers, own place.

Only lines of the same definition code and the same unit stand beside a measure, and all of those.
They are pooled where five series or more of the last 15 years print counts; otherwise the lines
alone are shown, and words say why.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from analyses.content.blocks import Block, Cell, Paragraph, Picture, Section, Sentence, Table
from analyses.figures.figure_shares import interval_figure
from analyses.literature.compared import (
    COMPARED,
    FEWEST_SERIES,
    YEARS,
    Beside,
    is_recent,
    lines_for,
)
from analyses.literature.comparison import (
    NEEDED_TOPICS,
    Comparison,
    Literature,
    beside_literature,
)
from analyses.literature.place import BOUNDS
from analyses.literature.published import PublishedSeries
from analyses.measures.declared import about
from analyses.measures.results import Results
from analyses.statistics.estimate import Estimate, replaced
from analyses.statistics.pooling.pooled_proportion import Pooled
from analyses.words.estimate_text import plural
from analyses.words.numerals import whole

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["COMPARED", "NEEDED_TOPICS", "Beside", "all_published", "comparison_blocks",
           "comparison_table", "lines_for", "literature_sections", "name_of", "pooled_sentence",
           "title_of", "why_not_pooled", "without_a_line"]

INDEPENDENT = (
    "Intervals of published series are exact and take their rows as independent, because a "
    "paper's counts do not say which rows are of one patient; where patients had several sessions "
    "they are too narrow. The service's own interval allows for it.")
TYPICAL = ("Typical series: half of such series would have a lower proportion of their own, half "
           "a higher one; it is not the share among all patients together.")
NO_VERDICT = ("Published series are neither a standard nor a ranking: papers choose whom to treat, "
              "what to count and what to publish.")


def literature_sections(
    results: Results, lines: Iterable[PublishedSeries] | None = None,
) -> tuple[Section, ...]:
    """A section a measure, and last the whole list of published lines.

    results: with the steps NEEDED_TOPICS at least; lines: a table of one's own (`read_series`),
    the package's where None.
    """
    found = beside_literature(results, lines)
    compared = [Section(title_of(c.one), comparison_blocks(c)) for c in found.comparisons]
    every: tuple[Block, ...] = (all_published(found),)
    if found.without:
        every = (Paragraph((without_a_line(found),)), *every)
    return (*compared, Section("Every published line", every))


def comparison_blocks(compared: Comparison) -> tuple[Block, ...]:
    """What differs, what is pooled and what that says, the figures, and the table."""
    return (Paragraph(tuple(_said(compared))), *_pictures(compared), comparison_table(compared))


def without_a_line(literature: Literature) -> Sentence:
    """The measures and units that no published line counts."""
    named = ("; ".join(title_of(one) for one in literature.without))
    return Sentence("No published line of the table counts the same thing in the same unit as: "
                    f"{named}.")


def all_published(literature: Literature) -> Table:
    """Every line of the table of published series, with its source."""
    rows = tuple(
        (Cell(line.source, heading=True), Cell(line.counted), Cell(f"per {line.unit}"),
         Cell(line.agent_group), Cell(line.numbers, line.estimate), Cell(line.identifier))
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


def pooled_sentence(compared: Comparison, pooled: Pooled) -> Sentence:
    """The pooled lines in one sentence."""
    typical, spread, new = pooled.estimates
    said = (f"Published series of the last {YEARS} years that count {compared.one.code} per "
            f"{compared.one.unit}: {compared.series} "
            f"({pooled.estimate.events:,} events among {pooled.estimate.n:,}); in a typical one "
            f"{_range(typical)}, 95 % confidence interval {_span(typical)} %")
    return Sentence(
        f"{said}; a new series' own proportion would lie within {_span(new)} % (95 % prediction "
        f"interval). Standard deviation between series: {_without_n(spread)}.",
        (typical, new, spread))


def why_not_pooled(compared: Comparison) -> str:
    """Why the lines stand alone: too few series, or no answer of the model."""
    if compared.pooled is not None:
        return compared.pooled.notes[0]
    k = compared.series
    found = "No series" if k == 0 else "One series" if k == 1 else f"{k} series"
    print_ = "prints" if k == 1 else "print"
    return (f"{found} of the last {YEARS} years before the freeze {print_} a count of this per "
            f"{compared.one.unit}; with fewer than {FEWEST_SERIES} how much series differ cannot "
            "be told, so nothing is pooled and this service is given no place.")


def comparison_table(compared: Comparison) -> Table:
    """This service, every line beside it, and what the pooled ones give."""
    own, one = compared.own, compared.one
    pooled = {line.id for line in compared.recent} if compared.is_pooled else set()
    rows: list[tuple[Cell, ...]] = [
        (Cell("This service", heading=True), Cell(about(one.id).label), Cell("all agents"),
         Cell(own.number_text(), own), Cell("")),
        *((Cell(line.source, heading=True), Cell(line.counted), Cell(line.agent_group),
           Cell(line.numbers, line.estimate), Cell("yes" if line.id in pooled else "no"))
          for line in compared.lines)]
    if compared.pooled is not None and pooled:
        rows += _pooled_rows(compared, compared.pooled)
    return Table(
        name_of(one), f"{title_of(one)}: this service and published series",
        ("Series", "What was counted", "Agent", "Events/n (%, 95 % interval)", "Pooled"),
        tuple(rows), _notes(compared))


def _pooled_rows(compared: Comparison, pooled: Pooled) -> list[tuple[Cell, ...]]:
    named = ("Typical series of those pooled", "Prediction for a new series")
    return [(Cell(name, heading=True), Cell(compared.one.code), Cell(""), Cell(_share(e), e),
             Cell(f"{compared.series} series"))
            for name, e in zip(named, (pooled.estimate, pooled.prediction), strict=True)]


def _said(compared: Comparison) -> list[Sentence]:
    """Everything that is said of one comparison, in order."""
    one, pooled = compared.one, compared.pooled
    said = [Sentence(one.difference)] if one.difference else []
    if compared.own.kind == "bounds":
        said.append(Sentence(f"Here {BOUNDS}", (compared.own,)))
    if pooled is None or not compared.is_pooled:
        return [*said, Sentence(why_not_pooled(compared)), Sentence(NO_VERDICT)]
    said += [*map(Sentence, _apart(compared)), pooled_sentence(compared, pooled),
             Sentence(TYPICAL), *map(Sentence, pooled.notes)]
    if compared.place is not None and compared.own.kind != "bounds":
        said.append(Sentence(compared.place.words, (compared.own,)))
    return [*said, *_simple(pooled), Sentence(NO_VERDICT)]


def _apart(compared: Comparison) -> list[str]:
    """Why lines that are shown are not pooled."""
    left = [line for line in compared.lines if line not in compared.recent]
    old = {line.name: None for line in left if line.estimate.value is not None
           and not is_recent(line, compared.frozen)}
    none = {line.name: None for line in left if line.estimate.value is None}
    twice = {line.name: None for line in left if line.name not in (*old, *none)}
    return [f"{', '.join(names)}: {words}" for names, words in (
        (old, f"published more than {YEARS} years before the freeze, shown and not pooled."),
        (none, "the count is not printed, shown and not pooled."),
        (twice, "some of the same patients as another line, which has more of them and stands for "
                "both.")) if names]


def _simple(pooled: Pooled) -> list[Sentence]:
    other = pooled.higgins
    return [] if other is None else [Sentence(
        "The simpler t interval of Higgins and colleagues (2009) for a new series would be "
        f"{_span(other)} %.", (other,))]


def _pictures(compared: Comparison) -> tuple[Picture, ...]:
    drawn = [line for line in compared.lines if line.estimate.value is not None]
    if not drawn or compared.own.value is None:
        return ()
    return (_intervals(compared, drawn), *_funnel(compared))


def _intervals(compared: Comparison, drawn: list[PublishedSeries]) -> Picture:
    one = compared.one
    found = [compared.own, *(line.estimate for line in drawn)]
    labels = ["This service", *(_label(line, drawn) for line in drawn)]
    if compared.pooled is not None and compared.is_pooled:
        found += [compared.pooled.estimate, compared.pooled.prediction]
        labels += ["Typical series of those pooled", "New series: 95 % prediction interval"]
    ending = (f"{len(compared.recent)} of them pooled" if compared.is_pooled else "not pooled")
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
    """The funnel, where there are series enough for a prediction and the service has a place."""
    pooled, place, own = compared.pooled, compared.place, compared.own
    if pooled is None or place is None or place.prediction is None:
        return ()
    one, lines = compared.one, [line.estimate for line in compared.recent]
    names = [line.name for line in compared.recent]
    size = own.effective_n or float(own.n or 0)
    caption = (f"{title_of(one)}: pooled series and this service by size, with the range that a "
               "new series of each size would show in 95 of 100")

    def draw(width: float) -> Figure:
        from analyses.figures.figure_literature import literature_funnel

        return literature_funnel(pooled, lines, names, own, size, width)

    units = plural(one.unit)
    drawn = f"This service is drawn at {own.n:,} {units}"
    if own.n and round(size) != own.n:
        drawn += f", worth {whole(size)} independent ones because patients repeat"
    return (Picture(f"{name_of(one)}-funnel", f"{caption}. {drawn}",
                    f"{caption}. {drawn}. {place.words}", draw,
                    (own, *lines, pooled.estimate)),)


def _notes(compared: Comparison) -> tuple[str, ...]:
    notes = (INDEPENDENT,) if compared.one.unit != "patient" else ()
    if compared.pooled is None or not compared.is_pooled:
        return notes
    return (*notes, f"Pooled: {compared.pooled.estimate.method}. Interval of the prediction: "
                    f"{compared.pooled.prediction.method}.")


def _label(line: PublishedSeries, lines: list[PublishedSeries]) -> str:
    """The paper; what it counted too, where the lines of a figure differ in that."""
    if len({other.counted for other in lines}) == 1:
        return line.name
    return f"{line.name}\n{line.counted}"


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
