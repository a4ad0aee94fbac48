"""What surrounds one case: the service's own rate, others beside it, and the charts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analyses.cases.case_measures import measures_of_event
from analyses.cases.case_signal import CaseSignal
from analyses.cases.one_case import OneCase
from analyses.content.blocks import Block, Cell, Picture, Points, Sentence, Table
from analyses.documents.quality.chart_words import baseline_words, chart_words, cusum_words
from analyses.documents.series.literature_beside import lines_for
from analyses.figures.figure_shares import interval_figure
from analyses.figures.figure_style import INK
from analyses.literature.compared import Beside, beside
from analyses.literature.published import PublishedSeries
from analyses.measures.counting import share
from analyses.measures.declared import about, all_measures
from analyses.measures.harm import marked_units
from analyses.measures.measure import Share
from analyses.measures.results import Results
from analyses.statistics.estimate import Estimate
from registry.schema import Complications

if TYPE_CHECKING:
    from matplotlib.figure import Figure

NO_EVENT = ("No event is recorded for this case; shown is any complication in this service.")
NOTHING_BESIDE = ("No published line with counts counts the same thing in the same unit, or this "
                  "service's own number may not be given: nothing is set beside it.")
NOT_COUNTED = ("No measure of this service counts an event like this one; it stands as a single "
               "case.")
IMPRECISE = "Few events: the interval matters more than the percentage."


def service_rates(results: Results, case: OneCase) -> tuple[Estimate, ...]:
    """How often the service itself met an embolization complication of this kind, per session.

    Nothing where the event is none of the embolization.
    """
    event = case.index_event
    if event is None or not bool(event["counted"]):
        return ()
    kind = str(event[Complications.kind])
    flag = results.units.events[Complications.kind].eq(kind).astype("boolean")
    return (share(marked_units(results.units, "session", flag), "event",
                  id="complication.of_kind", unit="session", group={"kind": kind}),)


def measured(results: Results, case: OneCase) -> tuple[Estimate, ...]:
    """The service's measures that the event counts in, in the order of `measures_of_event`."""
    return tuple(_one(results, id, unit) for id, unit in measures_of_event(case))


def _one(results: Results, id: str, unit: str) -> Estimate:
    """A measure's estimate, worked out here where the results at hand left its topic out."""
    try:
        return results.one(id, unit)
    except KeyError:
        measure = all_measures()[id]
        assert isinstance(measure, Share)
        return measure.of(measure.frame(results.units, unit), unit)[0]


def here_blocks(results: Results, case: OneCase, found: tuple[Estimate, ...]) -> tuple[Block, ...]:
    """The service's own numbers: the event's kind, and the measures it counts in."""
    wider = measured(results, case)
    if case.index_event is None:
        return (Points((Sentence(NO_EVENT),)), _here((), wider))
    if not wider and not found:
        return (Points((Sentence(NOT_COUNTED),)),)
    kind = str(case.index_event[Complications.kind]).capitalize()
    return (_here(tuple((kind, e) for e in found), wider),)


def _here(kinds: tuple[tuple[str, Estimate], ...], wider: tuple[Estimate, ...]) -> Table:
    lines = (*kinds, *((about(e.id).label, e) for e in wider))
    rows = tuple((Cell(label, heading=True), Cell(f"per {e.unit}"), Cell(e.number_text(), e))
                 for label, e in lines)
    return Table("here", "In this service, this case counted", (
        "What is counted", "Unit", "Events/n (%, 95 % interval)"), rows, (IMPRECISE,))


def compared_with(case: OneCase) -> Beside | None:
    """The first measure the event counts in that published lines stand beside; None where none."""
    found = (beside(id, unit) for id, unit in measures_of_event(case))
    return next((one for one in found if one is not None and any(
        line.estimate.value is not None for line in lines_for(one))), None)


def published_lines(case: OneCase) -> list[PublishedSeries]:
    """Every published line of the same code and unit as that measure."""
    one = compared_with(case)
    return [] if one is None else lines_for(one)


def published_blocks(results: Results, case: OneCase) -> tuple[Block, ...]:
    """The service beside published series: a figure with the numbers in it; never pooled.

    Where the service's number is given as bounds there is no point to draw.
    """
    one = compared_with(case)
    ours = None if one is None else _one(results, one.id, one.unit)
    if one is None or ours is None or ours.value is None:
        return (Points((Sentence(NOTHING_BESIDE),)),)
    drawn = [line for line in lines_for(one) if line.estimate.value is not None]
    found = [ours, *(line.estimate for line in drawn)]
    labels = ["This service", *(_label(line, drawn) for line in drawn)]
    caption = (f"{about(one.id).label} per {one.unit}, with 95 % intervals; never pooled. "
               f"{one.difference.rstrip('.')}").rstrip(". ")
    alt = f"{caption}: " + "; ".join(
        f"{name.replace(chr(10), ', ')} {e.number_text()}"
        for name, e in zip(labels, found, strict=True))
    words = f"Per {one.unit} (%)"
    return (Picture("published", caption, alt,
                    lambda width: _beside_figure(found, labels, width, words), tuple(found)),)


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


def _beside_figure(
    found: list[Estimate], labels: list[str], width: float, words: str,
) -> Figure:
    figure = interval_figure(found, labels, width, words)
    axes = figure.axes[0]
    # The service's own line stands out by weight and a rule below it, not by colour.
    axes.get_yticklabels()[0].set_fontweight("bold")
    axes.axhline(len(found) - 1.5, color=INK, linewidth=0.8)
    figure.set_size_inches(width, 0.6 + 0.3 * len(found))
    return figure
