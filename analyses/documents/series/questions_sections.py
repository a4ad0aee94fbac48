"""The case series' sections on who is counted, comparisons, and missing outcomes."""

from __future__ import annotations

from collections.abc import Sequence

from analyses.content.blocks import Cell, Paragraph, Picture, Section, Sentence, Table, plain
from analyses.documents.series.declared_section import by_chance
from analyses.documents.series.pooled_section import pooled_blocks
from analyses.documents.tables.measure_tables import number_cell
from analyses.figures.figure_flow import flow_figure
from analyses.figures.figure_measures import difference_figure
from analyses.measures.comparisons import trends
from analyses.measures.declared import about, shown_at
from analyses.measures.flow import flow_of, words_of
from analyses.measures.group_words import GROUP_LABELS
from analyses.measures.groups_pooled import GroupsPooled
from analyses.measures.headlines import headlines
from analyses.measures.missing_outcome import FEWEST
from analyses.measures.null_findings import null_findings
from analyses.measures.places import Place
from analyses.measures.results import Results
from analyses.statistics.estimate import Estimate
from analyses.statistics.proportions.proportions_compared import FLOOR


def flow_picture(results: Results) -> Picture:
    """The flow of patients as a diagram."""
    flow = flow_of(results.units)
    caption = "Flow of patients from all recorded to each analysis"
    told = [f"{words} {count.n:,}" for words, count in flow.trunk]
    told += [f"{label} {inside.n:,}" + "".join(f", not in it {w}" for w in words_of(lost))
             for label, _, inside, lost in flow.analyses]
    return Picture("flow", caption, f"{caption}: " + "; ".join(told) + ".",
                   lambda width: flow_figure(flow, width), tuple(flow.estimates()),
                   rows_seen=False)


def comparisons_section(results: Results, pooled: Sequence[GroupsPooled] = ()) -> Section:
    """Periods, grades, intents, rupture and agent compared; trends: none of it asked beforehand.

    pooled: comparisons of several groups, shown in the place of their raw differences.
    """
    return Section("Exploratory comparisons", (
        plain("Groups of an observational series differ in more than what names them: a "
              "difference describes, and does not show an effect.",
              f"Groups under {FEWEST} units are not compared, and no measure with under {FLOOR} "
              f"events or under {FLOOR} units without one. No comparison here was named "
              "beforehand, so none has a P value: some intervals leave out no difference by "
              "chance alone."),
        Paragraph((by_chance(null_findings(results.units)),)),
        differences_table(results, pooled), *pooled_blocks(pooled),
        difference_picture(results, pooled), trends_block(results),
    ))


def differences_table(results: Results, pooled: Sequence[GroupsPooled] = ()) -> Table:
    """Every difference, one a row, but for those of groups that are pooled."""
    rows = []
    for id, _ in shown_at(Place.COMPARED):
        for e in _differences(results, id, pooled):
            column, pair = _group(e)
            rows.append((
                Cell(about(id).label, heading=True), Cell(GROUP_LABELS[column]), Cell(pair),
                number_cell(e), Cell(_patients(e))))
    return Table("differences", "Differences between groups", (
        "Measure", "By", "Groups", "Counts and difference (95 % interval)", "Patients"),
        tuple(rows), ("First group less the second, in percentage points. One row a patient: "
                      "Newcombe's hybrid score interval (1998); several: the hybrid of the "
                      "groups' clustered intervals (Zou and Donner 2008).",), folded=True)


def difference_picture(results: Results, pooled: Sequence[GroupsPooled] = ()) -> Picture:
    """The differences of one measure, drawn; those of several groups pooled."""
    (id, _), = shown_at(Place.DIFFERENCES_DRAWN)
    raw = _differences(results, id, pooled)
    drawn = [e for one in pooled if one.id == id for e in one.pooled.differences]
    found = [*raw, *drawn]
    labels = [f"{GROUP_LABELS[column]}: {pair}" for column, pair in map(_group, raw)]
    labels += [f"{GROUP_LABELS[column]}, pooled: {pair}" for column, pair in map(_group, drawn)]
    caption = f"{about(id).label} per session: differences between groups, first less second"
    alt = f"{caption}: " + "; ".join(
        f"{label} {e.number_text()}" for label, e in zip(labels, found, strict=True))
    return Picture("complication-differences", caption, alt,
                   lambda width: difference_figure(found, labels, width), tuple(found),
                   rows_seen=False)


def trends_block(results: Results) -> Paragraph:
    """A sentence a trend, by grade and by calendar year: the change a step with its interval."""
    told = []
    every = headlines(results.units)
    for id, _ in shown_at(Place.COMPARED):
        for trend in trends(every[id]):
            _, step = _group(trend.estimate)
            subject = f"{about(id).subject}, per {every[id].unit}, {step}"
            told.append(Sentence(trend.change(subject), (trend.estimate,)))
    return Paragraph(tuple(told))


def missing_section(results: Results) -> Section:
    """Complete case, bounds and weighting, side by side."""
    rows = [row for id, _ in shown_at(Place.QUESTIONED)
            if (row := _missing_row(results, id))]
    if not rows:
        return Section("Missing outcomes", (plain("No outcome of the main measures is missing."),))
    return Section("Missing outcomes", (
        plain("Bounds hold whatever the missing outcomes were. The weighted result stands for "
              "all patients only if those lost differ from those followed in nothing but what "
              "the model of observation knows; that cannot be tested with these data.",
              f"A term of that model needs {FEWEST} units missing and {FEWEST} known."),
        Table("missing-outcomes", "Missing outcomes: what they could hide", (
            "Measure", "Unit", "Known outcomes only", "If all missing had none",
            "If all missing had it", "Weighted for the missing", "Notes"), tuple(rows), (
            "Weighted by the inverse probability of being observed (Robins and others 1994), "
            "Firth's model of observation, variance by patient with the weights' own "
            "uncertainty.",)),
    ))


def _missing_row(results: Results, id: str) -> tuple[Cell, ...] | None:
    found = {e.id: e for e in results.estimates if e.id.startswith(f"missing.{id}.")}
    if not found:
        return None
    bounds = found[f"missing.{id}.bounds"]
    complete, weighted = (found.get(f"missing.{id}.{way}") for way in ("complete", "weighted"))
    cases = [Cell(case.number_text(), case) for case in bounds.beside[:2]]
    cases += [Cell("–")] * (2 - len(cases))
    notes = [note for e in (complete, weighted or bounds) if e for note in e.notes()]
    return (Cell(about(id).label, heading=True), Cell(f"per {bounds.unit}"),
            _or_dash(complete), *cases, _or_dash(weighted), Cell("; ".join(dict.fromkeys(notes))))


def _or_dash(estimate: Estimate | None) -> Cell:
    """The number, or a dash where none can be given."""
    if estimate is None or estimate.value is None:
        return Cell("–", estimate)
    return Cell(estimate.number_text(), estimate)


def _differences(
    results: Results, id: str, pooled: Sequence[GroupsPooled],
) -> list[Estimate]:
    """The raw differences of a measure, but for those of groups that are pooled."""
    gone = {one.column for one in pooled if one.id == id}
    return [e for e in results.estimates
            if e.id == f"difference.{id}" and _group(e)[0] not in gone]


def _group(e: Estimate) -> tuple[str, str]:
    """The grouping of an estimate and its level."""
    return next(iter((e.group or {"": ""}).items()))


def _patients(e: Estimate) -> str:
    return "" if e.clusters is None else f"{e.clusters:,}"
