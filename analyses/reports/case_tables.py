"""Tables of one case: who, which lesion, what was done, what happened; nothing that identifies."""

from __future__ import annotations

import pandas as pd

from analyses.catalogue import level_label
from analyses.one_case import OneCase, age_band, technique_rows
from analyses.reports.content import Block, Cell, Points, Sentence, Table
from registry.practice_limits import PracticeLimits
from registry.schema import TABLES

NOT_RECORDED = "not recorded"

LESION_FIELDS = (
    "side", "location", "haemorrhage_before", "earlier_treatment", "eloquent",
    "deep_drainage", "draining_veins", "venous_stenosis", "venous_ectasia", "nidus_border",
    "feeding_pedicles", "feeder_calibre", "perforator_supply", "fistulous_part", "aneurysm",
)
LIMIT_WORDS = {
    "mixing": "Agent shaken before use", "dead_space": "DMSO fills the dead space",
    "rate": "Rate", "pause": "Pause for reflux", "reflux": "Reflux limit",
    "halted": "Halted when view lost or resistance felt",
}


def patient_table(case: OneCase) -> Table:
    """Who the case is, as far as a conference needs to know."""
    person = case.patient
    rows = (
        ("Age at presentation", f"{age_band(float(person['age_y']))} years"),
        ("Sex", words(person["sex"])), ("Presentation", words(person["presentation"])),
        ("mRS before treatment", words(person["mrs_before"])),
        ("GCS at presentation", words(person["gcs"])),
    )
    return _two_columns("patient", "The patient", rows)


def lesion_tables(case: OneCase) -> tuple[Table, ...]:
    """Angioarchitecture and grades of each lesion treated."""
    spec = TABLES["lesions"].by_name
    found = []
    several = len(case.lesions) > 1
    for row in case.lesions.to_dict("records"):
        size = " × ".join(words(row[f"nidus_{d}_mm"]) for d in ("length", "width", "height"))
        rows = (
            ("Spetzler–Martin grade", level_label("sm_grade", str(row["sm_grade"]))),
            ("Spetzler–Ponce class", words(row["ponce_class"])),
            ("Nidus, three diameters", f"{size} mm"),
            *((spec[name].label, words(row[name])) for name in LESION_FIELDS),
        )
        named = f" {row['lesion_no']}" if several else ""
        half = (len(rows) + 1) // 2
        pairs = [(*rows[at], *(rows[at + half] if at + half < len(rows) else ("", "")))
                 for at in range(half)]
        found.append(Table(
            f"lesion-{row['lesion_no']}", f"Angioarchitecture and grades, lesion{named}",
            ("Feature", "Finding", "Feature ", "Finding "),
            tuple(tuple(Cell(text, heading=at in (0,)) for at, text in enumerate(pair))
                  for pair in pairs),
            ("Grades describe groups; they do not decide treatment.",)))
    return tuple(found)


def technique_tables(case: OneCase, limits: PracticeLimits) -> tuple[Block, ...]:
    """What was injected how, and each limit: within, outside, or not recorded."""
    rows = technique_rows(case, limits)
    if rows.empty:
        return (Points((Sentence("No injection is recorded for this case."),)),)
    done = tuple(
        (Cell(f"day {row['day']}, injection {row['injection_no']}", heading=True),
         Cell(words(row["agent"])), Cell(_unit(row["agent_ml"], "mL")),
         Cell(_unit(row["injection_min"], "min")), Cell(_unit(row["longest_pause_s"], "s")),
         Cell(_unit(row["rate_ml_min"], "mL/min", 2)),
         Cell(f"{_unit(row['reflux_mm'], 'mm')} (limit {_unit(row['reflux_limit_mm'], 'mm')})"),
         Cell(words(row["retrieval"])))
        for row in rows.to_dict("records"))
    judged = tuple(
        (Cell(f"day {row['day']}, injection {row['injection_no']}", heading=True),
         *(Cell(_side(row.get(name))) for name in LIMIT_WORDS))
        for row in rows.to_dict("records"))
    return (
        Table("technique", "What was injected, and how",
              ("Injection", "Agent", "Volume", "Time", "Longest pause", "Mean rate", "Reflux",
               "Catheter"), done),
        Table("limits", f"Beside the practice limits ({limits.source})",
              ("Injection", *LIMIT_WORDS.values()), judged,
              ("Limits are for liquid copolymer agents; the product's instructions for use and "
               "local protocol come first.",)),
    )


def event_table(case: OneCase) -> tuple[Block, ...]:
    """The event to be discussed, field by field, and what else happened."""
    if case.index_event is None:
        return (Points((Sentence("No embolization complication is recorded for this case."),)),)
    event = case.index_event
    day = (event["onset_date"] - case.day_zero).days
    rows = (
        ("Kind", words(event["kind"])), ("Day of onset", f"day {day}"),
        ("Hours after the procedure", _unit(event["hours_after"], "h")),
        ("Phase", words(event["phase"])), ("Mechanism", words(event["mechanism"])),
        ("Symptomatic", words(event["symptomatic"])),
        ("Recognised after", _unit(event["recognised_after_min"], "min")),
        ("Treated after", _unit(event["treated_after_min"], "min")),
        ("Rescue", words(event["rescue"])), ("Deficit", words(event["deficit"])),
        ("Worst mRS, at 30 and 90 days", ", ".join(
            words(event[name]) for name in ("mrs_worst", "mrs_30d", "mrs_90d"))),
        ("Clavien–Dindo grade", words(event["clavien_dindo"])),
        ("Attribution to the embolization", words(event["attribution"])),
        ("Reviewed by", words(event["reviewed_by"])),
    )
    table = _two_columns("event", "The event", rows)
    others = len(case.events) - 1
    if not others:
        return (table,)
    more = "One other embolization complication is" if others == 1 else (
        f"{others} other embolization complications are")
    return (table, Points((Sentence(f"{more} recorded for this case."),)))


def similar_table(rows: pd.DataFrame) -> Table:
    """Earlier cases with an event of the same kind; no code and no date."""
    body = tuple(
        (Cell(str(number), heading=True), Cell(level_label("sm_grade", str(row["sm_grade"]))),
         Cell(words(row["ruptured"])), Cell(words(row["intent"])), Cell(words(row["mechanism"])),
         Cell(words(row["rescue"])), Cell(words(row["deficit"])))
        for number, row in enumerate(rows.to_dict("records"), start=1))
    return Table(
        "similar", f"Earlier embolization complications of the same kind: {len(rows)}",
        ("No", "Spetzler–Martin grade", "Ruptured", "Intent", "Mechanism", "Rescue", "Deficit"),
        body, () if body else ("None is recorded before this one.",))


def words(value: object) -> str:
    """A recorded value as a reader wants it; a blank is "not recorded"."""
    if value is None or value is pd.NaT or (not isinstance(value, str) and pd.isna(value)):
        return NOT_RECORDED
    if isinstance(value, bool) or str(value) in ("True", "False"):
        return "yes" if str(value) == "True" else "no"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _unit(value: object, unit: str, digits: int | None = None) -> str:
    shown = words(value)
    if shown == NOT_RECORDED:
        return shown
    number = float(str(value))
    return f"{number:.{digits}f} {unit}" if digits is not None else f"{number:g} {unit}"


def _side(within: object) -> str:
    shown = words(within)
    return {"yes": "within", "no": "OUTSIDE"}.get(shown, shown)


def _two_columns(name: str, caption: str, rows: tuple[tuple[str, str], ...]) -> Table:
    body = tuple((Cell(label, heading=True), Cell(text)) for label, text in rows)
    return Table(name, caption, ("Item", "Recorded"), body)
