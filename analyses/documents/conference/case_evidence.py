"""What surrounds one case: the service's own rate, others beside it, and the charts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analyses.cases.case_signal import CaseSignal, own_measure
from analyses.cases.one_case import OneCase
from analyses.content.blocks import Block, Cell, Picture, Points, Sentence, Table
from analyses.documents.quality.chart_words import baseline_words, chart_words, cusum_words
from analyses.documents.series.literature_beside import lines_for
from analyses.figures.figure_shares import interval_figure
from analyses.figures.figure_style import INK
from analyses.literature.compared import Beside, beside
from analyses.literature.published import PublishedSeries
from analyses.measures.counting import share
from analyses.measures.declared import about
from analyses.measures.harm import marked_units
from analyses.measures.results import Results
from analyses.statistics.estimate import Estimate
from registry.schema import Complications

if TYPE_CHECKING:
    from matplotlib.figure import Figure

NO_EVENT = ("No embolization complication is recorded for this case; shown is any complication in "
            "this service.")
NOTHING_BESIDE = ("There is nothing to set side by side: no published line with counts, or no "
                  "number of this service that may be given.")
IMPRECISE = "Few events: the interval matters more than the percentage."


def service_rates(results: Results, case: OneCase) -> tuple[Estimate, ...]:
    """How often the service itself met an event of this kind, per session and per patient."""
    if case.index_event is None:
        return ()
    kind = str(case.index_event[Complications.kind])
    flag = results.units.events[Complications.kind].eq(kind).astype("boolean")
    return tuple(
        share(marked_units(results.units, unit, flag), "event", id="complication.of_kind",
              unit=unit, group={"kind": kind})
        for unit in ("session", "patient"))


def here_blocks(results: Results, case: OneCase, found: tuple[Estimate, ...]) -> tuple[Block, ...]:
    """The service's own numbers: the event's kind, and the wider measure it counts in."""
    if case.index_event is None:
        return (Points((Sentence(NO_EVENT),)),)
    kind = str(case.index_event[Complications.kind]).capitalize()
    wider = results.one(own_measure(case), "session")
    rows = tuple(
        (Cell(label, heading=True), Cell(f"per {e.unit}"), Cell(e.number_text(), e))
        for label, e in ((kind, found[0]), (kind, found[1]), (about(wider.id).label, wider)))
    return (Table("here", "In this service, this case counted", (
        "What is counted", "Unit", "Events/n (%, 95 % interval)"), rows, (IMPRECISE,)),)


def compared_with(case: OneCase) -> Beside:
    """The measure whose published lines are set beside this case's event."""
    one = beside(own_measure(case), "session")
    assert one is not None  # every measure that a case is charted by declares a code
    return one


def published_blocks(results: Results, case: OneCase) -> tuple[Block, ...]:
    """The service beside published series: a figure with the numbers in it; never pooled.

    Where the service's number is given as bounds there is no point to draw.
    """
    one = compared_with(case)
    ours, lines = results.one(one.id, one.unit), lines_for(one)
    drawn = [line for line in lines if line.estimate.value is not None]
    if not drawn or ours.value is None:
        return (Points((Sentence(NOTHING_BESIDE),)),)
    found = [ours, *(line.estimate for line in drawn)]
    labels = ["This service", *(_label(line, drawn) for line in drawn)]
    caption = (f"{about(one.id).label} per session, with 95 % intervals; never pooled. "
               f"{one.difference.rstrip('.')}")
    alt = f"{caption}: " + "; ".join(
        f"{name.replace(chr(10), ', ')} {e.number_text()}"
        for name, e in zip(labels, found, strict=True))
    return (Picture("published", caption, alt,
                    lambda width: _beside_figure(found, labels, width), tuple(found)),)


def signal_blocks(signal: CaseSignal | None) -> tuple[Block, ...]:
    """The charts with this case marked."""
    if signal is None or (signal.chart is None and signal.cusum is None):
        return (Points((Sentence("There is no chart: too few events, or no session whose outcome "
                                 "is known."),)),)
    from analyses.figures.figures_signal import signal_figure

    label = about(signal.measure).label
    return (Picture("signal", f"{label}, in order of time{_where_marked(signal)}",
                    f"{label}. " + " ".join(s.text for s in signal_words(signal)),
                    lambda width: signal_figure(signal, width)),)


def _where_marked(signal: CaseSignal) -> str:
    if signal.marked is None and signal.marked_procedure is None:
        return "; none of its points is this case"
    if signal.marked_procedure is None and signal.cusum is not None:
        return "; this case lies in the baseline, before the CUSUM begins"
    return "; this case is marked"


def signal_words(signal: CaseSignal | None) -> tuple[Sentence, ...]:
    """What the charts show and could have shown, in order."""
    if signal is None:
        return ()
    analysis = signal.analysis
    said = list(chart_words(signal.chart, analysis.choice))
    if signal.cusum is not None and analysis.risk is not None:
        design = next(d for d in analysis.designs if d.odds_ratio > 1)
        said += [*cusum_words(signal.cusum, design), baseline_words(analysis.risk.ratio)]
    return tuple(Sentence(s.text, tuple(map(signal.named, s.estimates))) for s in said)


def _label(line: PublishedSeries, lines: list[PublishedSeries]) -> str:
    """The paper and its agent; what it counted, where one paper gives two lines."""
    twice = sum(line.source == other.source for other in lines) > 1
    return f"{line.name}\n{line.counted if twice else line.agent_group}"


def _beside_figure(found: list[Estimate], labels: list[str], width: float) -> Figure:
    figure = interval_figure(found, labels, width, "Per session (%)")
    axes = figure.axes[0]
    # The service's own line stands out by weight and a rule below it, not by colour.
    axes.get_yticklabels()[0].set_fontweight("bold")
    axes.axhline(len(found) - 1.5, color=INK, linewidth=0.8)
    figure.set_size_inches(width, 0.6 + 0.3 * len(found))
    return figure
