"""The manuscript's tables 2 to 5; table 1 is the baseline table."""

from __future__ import annotations

from analyses.content.blocks import Cell, Table
from analyses.documents.tables.measure_tables import definitions, headline_cell, number_cell
from analyses.documents.tables.measurement_tables import DASH, spread_text
from analyses.measures import haemorrhage as bleeds
from analyses.measures import over_time as time
from analyses.measures.declared import about, measure, shown_at
from analyses.measures.places import Place
from analyses.measures.results import Results
from analyses.statistics.estimate import Estimate
from analyses.words.estimate_text import plural
from analyses.words.numerals import measured, span

Pair = tuple[str, str]

def procedure_table(results: Results) -> Table:
    """Table 2: what was done, from the patient to the injection, and the practice limits."""
    rows: list[tuple[Cell, ...]] = []
    shown = shown_at(Place.PROCEDURE_TABLE)
    medians = [pair for pair in shown if measure(pair[0]).kind == "median"]
    for heading, unit in (("Per patient", "patient"), ("Per session", "session"),
                          ("Per injection of a liquid agent", "injection")):
        rows.append(_group(heading, 4))
        rows += [_median_row(results.one(*pair)) for pair in medians if pair[1] == unit]
    rows.append(_group("Radiation", 4))
    rows += [_share_row(results, pair) for pair in shown if pair not in medians]
    rows.append(_group("Within the practice limits", 4))
    rows += [_share_row(results, pair) for pair in shown_at(Place.LIMITS_TABLE)]
    return Table("procedure-and-technique", "Procedure and technique", (
        "Measure", "Median (quartiles), or events/n (%, 95 % interval)",
        "95 % interval of the median", "Recorded in"), tuple(rows), (
        "Medians and intervals by patient where patients repeat. Of the practice limits each is "
        "judged on liquid copolymer injections (mixing: sessions) with the value recorded.",))


def closure_table(results: Results) -> Table:
    """Table 3: obliteration, and the operation."""
    rows = [_group("Obliteration, per lesion", 3)]
    closed, operated = shown_at(Place.CLOSURE_TABLE), shown_at(Place.OPERATION_TABLE)
    rows += [_counted_row(results, pair) for pair in closed]
    rows.append(_group("Resection", 3))
    counted = [pair for pair in operated if measure(pair[0]).kind == "proportion"]
    rows += [_counted_row(results, pair) for pair in counted]
    for pair in operated:
        if pair not in counted:
            e = results.one(*pair)
            rows.append((_named(e), Cell(spread_text(e), e), Cell(_units(e))))
    return Table("obliteration-and-resection", "Obliteration and resection", (
        "Measure", "Events/n (%, 95 % interval), or median (quartiles)", "Counted"), tuple(rows),
        definitions((*closed, *counted)))


def harm_table(results: Results) -> Table:
    """Table 4: complications per session and per patient; the rest of the units below."""
    shown = shown_at(Place.HARM_TABLE)
    ids = list(dict.fromkeys(id for id, _ in shown))
    rows = [(Cell(about(id).label, heading=True), *(
        headline_cell(results.one(id, unit)) if (id, unit) in shown else Cell(DASH)
        for unit in ("session", "patient"))) for id in ids]
    rows.append(_group("By other units", 3))
    others = shown_at(Place.HARM_OTHER_UNITS)
    rows += [(Cell(f"{about(id).label}, per {unit}", heading=True),
              number_cell(results.one(id, unit)), Cell("")) for id, unit in others]
    # What any and a symptomatic complication are is said above the definitions of the rest.
    said = {id for id, _ in others if (id, "session") in shown}
    once = {id: unit for id, unit in (*others, *reversed(shown))}
    return Table("complications-summary", "Complications", (
        "Measure", "Sessions, events/n (%, 95 % interval)", "Patients"), tuple(rows), (
        "Events are those of one set: not unrelated to the embolization, onset from vascular "
        "access to 30 days after a session. A unit counts once, however many events it had.",
        *definitions((id, once[id]) for id in (*ids, *(id for id, _ in others))
                     if id not in said)))


def function_table(results: Results) -> Table:
    """Table 5: function, haemorrhage, and time."""
    function = shown_at(Place.FUNCTION_BY_GROUP)
    rows = [_group("Function at the last visit", 3)]
    rows += [_counted_row(results, pair) for pair in shown_at(Place.FUNCTION_TABLE)]
    rows.append(_group("Haemorrhage", 3))
    for stage in bleeds.IN_MAIN_TEXT:
        e = results.one(bleeds.ID, bleeds.UNIT, {"stage": stage})
        rows.append((Cell(f"Haemorrhages, {stage}", heading=True), number_cell(e),
                     Cell(_patients(e))))
    rows.append(_group("Over time", 3))
    follow = results.one(time.FOLLOW_UP, "patient")
    rows.append((_named(follow), number_cell(follow), Cell(_units(follow))))
    for id, unit in ((time.OBLITERATION, "lesion"), (time.RECURRENCE, "lesion"),
                     (time.BLEED_FREE, "patient")):
        for year in time.HORIZONS:
            e = results.one(id, unit, {"years": str(year)})
            label = f"{about(id).label}, {year} year{'' if year == 1 else 's'}"
            rows.append((Cell(label, heading=True), number_cell(e), Cell(_units(e))))
    return Table("function-and-follow-up", "Function and follow-up", (
        "Measure", "Number (95 % interval)", "Counted"), tuple(rows), (
        *definitions(function), *definitions([(bleeds.ID, bleeds.UNIT)])))


def _group(words: str, columns: int) -> tuple[Cell, ...]:
    return (Cell(words, heading=True), *(Cell("") for _ in range(columns - 1)))


def _named(e: Estimate) -> Cell:
    label = about(e.id).label
    return Cell(f"{label} ({e.measure})" if e.measure else label, heading=True)


def _median_row(e: Estimate) -> tuple[Cell, ...]:
    between = measured(e.value, e.low, e.high)[1:] if e.low is not None else ()
    return (_named(e), Cell(spread_text(e), e), Cell(span(*between) if between else DASH, e),
            Cell(f"{e.n or 0:,}", e))


def _share_row(results: Results, pair: Pair) -> tuple[Cell, ...]:
    e = results.one(*pair)
    return (Cell(f"{about(e.id).label} ({plural(e.unit)})", heading=True), number_cell(e), Cell(""),
            Cell(f"{e.n or 0:,}", e))


def _counted_row(results: Results, pair: Pair) -> tuple[Cell, ...]:
    e = results.one(*pair)
    return (Cell(about(e.id).label, heading=True), headline_cell(e), Cell(_units(e)))


def _units(e: Estimate) -> str:
    """`143 lesions of 138 patients`."""
    said = f"{e.n or 0:,} {e.unit if e.n == 1 else plural(e.unit)}"
    return said if e.unit == "patient" or e.clusters is None else f"{said} of {_patients(e)}"


def _patients(e: Estimate) -> str:
    count = e.clusters or 0
    return f"{count:,} {'patient' if count == 1 else 'patients'}"
