"""The columns of the old sheet: heading, and how a patient's clean values are written under it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pandas as pd

from registry.schema import (
    Complications,
    FollowUps,
    Injections,
    Lesions,
    Patients,
    Radiosurgeries,
    Resections,
    Sessions,
)
from synthetic_cohort import old_sheet_cells as cells
from synthetic_cohort.old_sheet_base import SESSIONS
from synthetic_cohort.old_sheet_cells import Cell, Fact, with_facts
from synthetic_cohort.old_sheet_words import NO_COMPLICATION, complication_text

Row = dict[str, Any]


@dataclass(frozen=True)
class Person:
    """The clean rows of one patient, by table; `place` counts patients from 0."""

    place: int
    code: str
    rows: dict[str, list[Row]]
    fellow: str

    @property
    def month_first(self) -> bool:
        """Whether this row's fellow writes the month first."""
        return self.fellow == "F3"

    def one(self, table: str, **numbers: int) -> Row | None:
        """The row of `table` with these numbers, if there is one."""
        for row in self.rows[table]:
            if all(row[name] == number for name, number in numbers.items()):
                return row
        return None


# A writer gets the person and two uniform numbers, and gives a cell or nothing.
Writer = Callable[[Person, float, float], Cell | None]


@dataclass(frozen=True)
class Column:
    """A column of the sheet. `optional`: a sign for "not recorded" may stand in its place."""

    heading: str
    write: Writer
    optional: bool = False
    width: int = 11


def fact(table: str, row: Row, name: str) -> Fact:
    """The clean value of one field of one row."""
    from registry.schema import TABLES

    return Fact(table, tuple(row[key] for key in TABLES[table].key), name, row[name])


def _value(
    table: str, name: str, write: Callable[[Person, Any, float, float], Cell], **numbers: int
) -> Writer:
    """A writer of one field of one row; nothing where the row or the value is not there."""

    def written(person: Person, u: float, v: float) -> Cell | None:
        row = person.one(table, **numbers)
        if row is None or row[name] is None:
            return None
        return with_facts(write(person, row[name], u, v), fact(table, row, name))

    return written


def _word(table: str, name: str, kind: str, **numbers: int) -> Writer:
    return _value(table, name, lambda p, value, u, v: cells.word(kind, value, u), **numbers)


def _date(table: str, name: str, **numbers: int) -> Writer:
    return _value(
        table, name,
        lambda p, day, u, v: cells.date(day, u, month_first=p.month_first), **numbers)


def _left_out(write: Callable[[Person, float, float], Any], way: str) -> Writer:
    def written(person: Person, u: float, v: float) -> Cell | None:
        raw = write(person, u, v)
        return None if raw is None else Cell(raw, way, "left out")

    return written


def _seen(person: Person, u: float, v: float) -> Cell:
    row = person.rows["patients"][0]
    known_to = row[Patients.presentation_date_known_to]
    day = row[Patients.presentation_date]
    cell = (cells.date(day, u, month_first=person.month_first) if known_to == "day"
            else cells.part_date(day, known_to))
    return with_facts(cell, fact("patients", row, Patients.presentation_date),
                      fact("patients", row, Patients.presentation_date_known_to))


def _place(person: Person, u: float, v: float) -> Cell:
    row = person.rows["lesions"][0]
    side = cells.word("side", row[Lesions.side], u).raw
    site = cells.word("location", row[Lesions.location], v).raw
    return with_facts(Cell(f"{side} {site}", "side and site in one cell"),
                      fact("lesions", row, "side"), fact("lesions", row, "location"))


def _size(person: Person, u: float, v: float) -> Cell:
    row = person.rows["lesions"][0]
    names = (Lesions.nidus_length_mm, Lesions.nidus_width_mm, Lesions.nidus_height_mm)
    cell = cells.size(*(row[name] for name in names), u, v)
    return with_facts(cell, *(fact("lesions", row, name) for name in names))


def _pedicles(number: int) -> Writer:
    def written(person: Person, u: float, v: float) -> Cell | None:
        rows = [r for r in person.rows["injections"] if r[Sessions.session_no] == number]
        if not rows:
            return None
        cell = cells.pedicles([r[Injections.feeding_artery] for r in rows], u)
        return with_facts(cell, *(fact("injections", r, Injections.feeding_artery) for r in rows))

    return written


def _volumes(number: int) -> Writer:
    def written(person: Person, u: float, v: float) -> Cell | None:
        rows = [r for r in person.rows["injections"] if r[Sessions.session_no] == number]
        if not rows:
            return None
        cell = cells.volumes([r[Injections.agent_ml] for r in rows], u)
        return with_facts(cell, *(fact("injections", r, Injections.agent_ml) for r in rows))

    return written


def _complication(person: Person, u: float, v: float) -> Cell:
    row = person.one("complications", complication_no=1)
    if row is None:
        return Cell(cells.pick(NO_COMPLICATION, u), "a word for none", "blank")
    names = (
        Complications.kind,
        Complications.symptomatic,
        Complications.deficit,
        Complications.death,
    )
    text = complication_text(*(row[name] for name in names))
    return with_facts(Cell(text, "free text"), *(fact("complications", row, n) for n in names))


def _integer(person: Person, value: Any, u: float, v: float) -> Cell:
    return Cell(int(value))


def _dose(person: Person, value: float, u: float, v: float) -> Cell:
    return Cell(int(value)) if u < 0.5 else Cell(f"{value:g} Gy", "unit after the number")


def _phone(person: Person, u: float, v: float) -> str | None:
    # Numbers that Ofcom keeps for drama: 01632 960000–960999.
    return f"01632 960{person.place % 1000:03d}" if u < 0.3 else None


def _remark(person: Person, u: float, v: float) -> str | None:
    notes = ("see letter", "lost to f/u", "in 2019 paper", "films on PACS", "MDT discussed")
    return cells.pick(notes, u / 0.25) if u < 0.25 else None


def _birth(person: Person, u: float, v: float) -> Any:
    row = person.rows["patients"][0]
    return cells.fictional_birth(row[Patients.age_y], row[Patients.presentation_date], u)


def columns() -> tuple[Column, ...]:
    """All columns in the order of the sheet."""
    return (*_before_treatment(), *(c for k in range(1, SESSIONS + 1) for c in _session(k)),
            *_afterwards())


def _before_treatment() -> tuple[Column, ...]:
    def mrs(p: Person, value: int, u: float, v: float) -> Cell:
        return cells.mrs(value, u)

    return (
        Column("No.", _left_out(lambda p, u, v: p.place + 1, "running number"), width=5),
        Column(
            "Hosp no",
            _left_out(
                lambda p, u, v: cells.fictional_number(p.place), "hospital number (fictional)"
            ),
        ),
        Column("DOB", _left_out(_birth, "date of birth (fictional)")),
        Column("Tel", _left_out(_phone, "telephone number (fictional)"), width=13),
        Column("Fellow", _left_out(lambda p, u, v: p.fellow, "who wrote the row"), width=7),
        Column(
            "Age", _value("patients", Patients.age_y, lambda p, a, u, v: cells.age(a, u)), width=7
        ),
        Column("Sex", _word("patients", "sex", "sex"), width=6),
        Column("Presented with", _word("patients", "presentation", "presentation"), width=14),
        Column("Date seen", _seen),
        Column("mRS pre", _value("patients", Patients.mrs_before, mrs), width=8),
        Column("Location", _place, width=18),
        Column("Size", _size, width=18),
        Column("SM gr.", _word("lesions", Lesions.sm_grade_recorded, "sm_grade"), True, 8),
        Column("Eloq", _word("lesions", "eloquent", "yes_no"), width=6),
        Column(
            "Deep veins", _word("lesions", Lesions.deep_drainage, "deep_drainage"), width=12
        ),
        Column("Bled pre", _word("lesions", Lesions.haemorrhage_before, "yes_no"), width=8),
        Column("No of feeders", _value("lesions", Lesions.feeding_pedicles, _integer), True, 8),
    )


def _session(k: int) -> tuple[Column, ...]:
    def contrast(p: Person, value: float, u: float, v: float) -> Cell:
        return cells.added_up(value, u, "ml")

    def occlusion(p: Person, value: float, u: float, v: float) -> Cell:
        return cells.percent(value, u)

    number = {Sessions.session_no: k}
    return (
        Column(f"Session {k} date", _date("sessions", Sessions.session_date, **number)),
        Column(f"S{k} op", _word("sessions", Sessions.operator_id, "operator", **number), True, 6),
        Column(f"S{k} aim", _word("sessions", "intent", "intent", **number)),
        Column(f"S{k} pedicles", _pedicles(k), width=20),
        Column(f"S{k} vol (cc)", _volumes(k), width=16),
        Column(
            f"S{k} % occl",
            _value("sessions", Sessions.occlusion_after_pct, occlusion, **number),
            width=8,
        ),
        Column(
            f"S{k} contrast", _value("sessions", Sessions.contrast_ml, contrast, **number), True
        ),
    )


def _afterwards() -> tuple[Column, ...]:
    def loss(p: Person, value: float, u: float, v: float) -> Cell:
        return cells.added_up(value, u, "ml")

    def mrs(p: Person, value: int, u: float, v: float) -> Cell:
        return cells.mrs(value, u)

    first, last = {FollowUps.follow_up_no: 1}, {FollowUps.follow_up_no: 2}
    return (
        Column("Complications", _complication, width=26),
        Column("Compl date", _date("complications", Complications.onset_date)),
        Column("Compl session", _value("complications", Sessions.session_no, _integer)),
        Column("Surgery date", _date("resections", Resections.resection_date)),
        Column("Surgery result", _word("resections", "result", "result")),
        Column("EBL (ml)", _value("resections", Resections.blood_loss_ml, loss), True),
        Column("Deficit after surgery", _word("resections", "deficit", "deficit")),
        Column("SRS date", _date("radiosurgeries", Radiosurgeries.radiosurgery_date)),
        Column("SRS dose", _value("radiosurgeries", Radiosurgeries.margin_dose_gy, _dose)),
        Column("First FU date", _date("follow_ups", FollowUps.follow_up_date, **first)),
        Column("First FU imaging", _word("follow_ups", "imaging", "imaging", **first)),
        Column("First FU result", _word("follow_ups", "occlusion", "occlusion", **first)),
        Column("mRS first FU", _value("follow_ups", "mrs", mrs, **first)),
        Column("Last seen", _date("follow_ups", FollowUps.follow_up_date, **last)),
        Column("Last imaging", _word("follow_ups", "imaging", "imaging", **last)),
        Column("Last imaging result", _word("follow_ups", "occlusion", "occlusion", **last)),
        Column("mRS last", _value("follow_ups", "mrs", mrs, **last)),
        Column("Died", _date("patients", Patients.death_date)),
        Column("Cause of death", _word("patients", Patients.death_cause, Patients.death_cause)),
        Column("Consent", _word("patients", Patients.research_use, Patients.research_use)),
        Column("Remarks", _left_out(_remark, "remark"), width=16),
    )


def people_of(tables: dict[str, pd.DataFrame]) -> list[Person]:
    """The patients in the order in which they were first seen, with their rows as plain Python."""
    grouped = {name: _by_patient(table) for name, table in tables.items() if name != "services"}
    order = tables["patients"].sort_values([Patients.presentation_date, Patients.patient_id])[
        Patients.patient_id
    ]
    # Four fellows, one after the other; the third came from where the month is written first.
    quarter = max(1, -(-len(order) // 4))
    return [
        Person(place, code, {name: rows.get(code, []) for name, rows in grouped.items()},
               f"F{place // quarter + 1}")
        for place, code in enumerate(order)
    ]


def _by_patient(table: pd.DataFrame) -> dict[str, list[Row]]:
    found: dict[str, list[Row]] = {}
    plain = table.astype(object).where(table.notna(), None)
    for row in plain.to_dict("records"):
        found.setdefault(row[Patients.patient_id], []).append(row)
    return found
