"""What was planned beside what happened, in the procedure or operation that the event followed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pandas as pd

from analyses.cases.case_hours import operation_of_event, procedure_rows
from analyses.cases.one_case import OneCase
from analyses.content.blocks import Block, Cell, Paragraph, Points, Sentence, Table
from analyses.documents.conference.case_tables import unit_words
from analyses.statistics.table_rows import rows_of
from analyses.words.recorded_value import NOT_RECORDED, recorded
from registry.schema import Injections, Lesions, Radiosurgeries, Resections, Sessions

NO_PLAN = ""
"""Nothing is planned of it that the registry could hold."""
NO_PRESSURE = "reached: not held by the registry"
PASSAGES = ("none", "part", "blocks outflow")
"""Agent in the draining vein, from the least to the most."""

Row = tuple[str, str, str]


def planned_blocks(case: OneCase) -> tuple[Block, ...]:
    """A table a lesion of the procedure, and one of the operation where the event is of one.

    Two lesions of one procedure stand side by side, what is of the procedure once below them.
    """
    operation, rows = operation_of_event(case), rows_of(procedure_rows(case))
    if operation is None and len(rows) == 2:
        return _side_by_side(case, rows)
    tables = [_operation_table(case, operation)] if operation is not None else []
    tables += [_session_table(case, row) for row in rows]
    return tuple(tables) or (Points((Sentence(
        "No session and no operation before this event is recorded."),)),)


def planned_words(case: OneCase) -> str:
    """The plan in a line, for the summary."""
    operation, rows = operation_of_event(case), rows_of(procedure_rows(case))
    if operation is not None:
        return f"resection; urgency: {recorded(operation[Resections.urgency])}"
    return "; ".join(
        ", ".join((recorded(row[Sessions.intent]), _sessions_planned(row),
                   f"closure aimed at: {unit_words(row[Sessions.occlusion_planned_pct], '%')}"))
        + case.lesion_words(row[Lesions.lesion_no]) for row in rows) or "no session recorded"


def done_words(case: OneCase) -> str:
    """What was done in the procedure or operation, in a line, for the summary."""
    operation = operation_of_event(case)
    if operation is not None:
        return (f"day {case.day(operation[Resections.resection_date])}: resection, "
                f"{operation[Resections.result]}{case.lesion_words(operation[Lesions.lesion_no])}")
    return "; ".join(
        f"day {case.day(row[Sessions.session_date])}: {_injected(_injections(case, row))}, "
        f"{_closed(row)}{case.lesion_words(row[Lesions.lesion_no])}"
        for row in rows_of(procedure_rows(case))) or "no session recorded"


def _session_table(case: OneCase, row: dict[str, Any]) -> Table:
    own = _of_lesion(case, row)
    told: tuple[Row, ...] = (
        *own[:3],
        ("Anaesthesia, flow", NO_PLAN, _how(row)),
        *own[3:],
        ("Systolic, first 24 h", _target(row), NO_PRESSURE),
        ("Time and dose", NO_PLAN, _dose(row)),
    )
    day = case.day(row[Sessions.session_date])
    lesion = case.lesion_words(row[Lesions.lesion_no])
    return _table(f"planned-{row[Lesions.lesion_no]}", f"Session of day {day}{lesion}", told)


def _side_by_side(case: OneCase, rows: list[dict[str, Any]]) -> tuple[Block, ...]:
    """Both lesions of a procedure in one table, and what is of the procedure in a paragraph."""
    columns = [column for row in rows for column in (
        f"Plan, lesion {row[Lesions.lesion_no]}", f"Done, lesion {row[Lesions.lesion_no]}")]
    of_lesions = [_of_lesion(case, row) for row in rows]
    body = tuple(
        (Cell(parts[0][0], heading=True),
         *(Cell(text) for _, planned, happened in parts for text in (planned, happened)))
        for parts in zip(*of_lesions, strict=True))
    told = (
        (_same_or_each(rows, _asleep), ""),
        (_same_or_each(rows, _plug), ""),
        (_same_or_each(rows, _target), "Systolic, first 24 h, planned: "),
        (_same_or_each(rows, _dose), "Time and dose: "))
    day = case.day(rows[0][Sessions.session_date])
    return (
        Table("planned-both", f"Procedure of day {day}", ("", *columns), body),
        Paragraph(tuple(Sentence(_sentence(f"{before}{text}")) for text, before in told
                        if text)))


def _of_lesion(case: OneCase, row: dict[str, Any]) -> tuple[Row, ...]:
    injections = _injections(case, row)
    return (
        ("Intent, then", recorded(row[Sessions.intent]), _later(case, row)),
        ("Sessions", _sessions_planned(row), _place_of(case, row)),
        ("Nidus closed", _aimed(row), _closed(row)),
        ("Outflow vein", _vein_planned(injections), _vein_reached(injections)),
        ("Reflux", _reflux_agreed(injections), _reflux_seen(injections)))


def _same_or_each(rows: list[dict[str, Any]], told: Callable[[dict[str, Any]], str]) -> str:
    """What is said of all rows alike, once; else of each lesion."""
    said = [told(row) for row in rows]
    if len(set(said)) == 1:
        return said[0]
    said = [text or NOT_RECORDED for text in said]
    return ", ".join(f"{text} (lesion {row[Lesions.lesion_no]})"
                     for row, text in zip(rows, said, strict=True))


def _sentence(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}."


def _operation_table(case: OneCase, row: pd.Series) -> Table:
    told: tuple[Row, ...] = (
        ("Urgency", recorded(row[Resections.urgency]),
         f"day {case.day(row[Resections.resection_date])}"),
        ("Result", "complete resection", recorded(row[Resections.result])),
        ("Operation", NO_PLAN, f"{unit_words(row[Resections.operation_min], 'min')}; rupture "
         f"during it: {recorded(row[Resections.rupture_during])}"),
        ("Blood", NO_PLAN, f"loss {unit_words(row[Resections.blood_loss_ml], 'mL')}; red cells "
         f"{unit_words(row[Resections.red_cell_units], 'units')}"),
        ("New deficit", NO_PLAN, recorded(row[Resections.deficit])),
    )
    return _table("planned-operation",
                  f"Operation{case.lesion_words(row[Lesions.lesion_no])}", told)


def _table(name: str, caption: str, rows: tuple[Row, ...]) -> Table:
    return Table(name, caption, ("", "Planned", "Happened"), tuple(
        (Cell(label, heading=True), Cell(planned), Cell(happened))
        for label, planned, happened in rows))


def _injections(case: OneCase, row: dict[str, Any]) -> pd.DataFrame:
    rows = case.tables["injections"]
    found: pd.DataFrame = rows[(rows[Lesions.lesion_no] == row[Lesions.lesion_no])
                               & (rows[Sessions.session_no] == row[Sessions.session_no])]
    return found


def _injected(rows: pd.DataFrame) -> str:
    count = {0: "no injection", 1: "one injection"}.get(len(rows), f"{len(rows)} injections")
    volume = rows[Injections.agent_ml].sum(min_count=1)
    return count if pd.isna(volume) else f"{count}, {float(volume):.3g} mL"


def _sessions_planned(row: dict[str, Any]) -> str:
    planned = row[Sessions.sessions_planned]
    return "sessions planned: " + recorded(planned) if pd.isna(planned) else (
        "1 session" if planned == 1 else f"{planned} sessions")


def _place_of(case: OneCase, row: dict[str, Any]) -> str:
    own = case.tables["sessions"]
    made = int((own[Lesions.lesion_no] == row[Lesions.lesion_no]).sum())
    return f"this is session {row[Sessions.session_no]} of {made} made"


def _later(case: OneCase, row: dict[str, Any]) -> str:
    """What treatment of the lesion followed the session."""
    found = [
        (other[day], f"{what} on day {case.day(other[day])}")
        for table, day, what in (("resections", Resections.resection_date, "resection"),
                                 ("radiosurgeries", Radiosurgeries.radiosurgery_date,
                                  "radiosurgery"))
        for other in rows_of(case.tables[table])
        if other[Lesions.lesion_no] == row[Lesions.lesion_no]
        and other[day] >= row[Sessions.session_date]]
    return ", ".join(text for _, text in sorted(found)) or "no other treatment after it recorded"


def _aimed(row: dict[str, Any]) -> str:
    aim = row[Sessions.occlusion_planned_pct]
    return NOT_RECORDED if pd.isna(aim) else f"{aim:g} %"


def _closed(row: dict[str, Any]) -> str:
    after, before = row[Sessions.occlusion_after_pct], row[Sessions.occlusion_before_pct]
    if pd.isna(after):
        return f"closure {recorded(row[Sessions.occlusion_status])}"
    return f"{after:g} % closed" + ("" if pd.isna(before) else f" ({before:g} % before)")


def _how(row: dict[str, Any]) -> str:
    plug = _plug(row)
    return f"{_asleep(row)}; {plug}" if plug else _asleep(row)


def _asleep(row: dict[str, Any]) -> str:
    return (f"{_named('anaesthesia', row[Sessions.anaesthesia])}; "
            f"{_named('flow control', row[Sessions.flow_control])}")


def _plug(row: dict[str, Any]) -> str:
    return {"yes": "plug before the main injection", "no": "no plug"}.get(
        recorded(row[Sessions.proximal_plug]), "")


def _named(what: str, value: Any) -> str:
    return f"{what}: {recorded(value)}"


def _vein_planned(rows: pd.DataFrame) -> str:
    meant = rows[Injections.venous_occlusion_intended]
    if meant.isna().all():
        return NOT_RECORDED
    return "to be closed" if meant.fillna(False).astype(bool).any() else "to stay open"


def _vein_reached(rows: pd.DataFrame) -> str:
    seen = rows[Injections.venous_passage].dropna()
    if seen.empty:
        return f"agent in the vein: {NOT_RECORDED}"
    return f"agent in the vein: {max(seen, key=PASSAGES.index)}"


def _reflux_agreed(rows: pd.DataFrame) -> str:
    agreed = rows[Injections.reflux_limit_mm].dropna()
    if agreed.empty:
        return "no limit recorded"
    low, high = agreed.min(), agreed.max()
    return f"up to {high:g} mm" if low == high else f"up to {low:g}–{high:g} mm"


def _reflux_seen(rows: pd.DataFrame) -> str:
    seen = rows[Injections.reflux_mm].dropna()
    return NOT_RECORDED if seen.empty else f"longest {seen.max():g} mm"


def _target(row: dict[str, Any]) -> str:
    target = row[Sessions.systolic_target_mmhg]
    return NOT_RECORDED if pd.isna(target) else f"up to {target:g} mmHg"


def _dose(row: dict[str, Any]) -> str:
    """Time, dose and contrast that are recorded, in a line."""
    parts = (("procedure", Sessions.procedure_min, "min"),
             ("fluoroscopy", Sessions.fluoroscopy_min, "min"),
             ("air kerma", Sessions.air_kerma_mgy, "mGy"),
             ("dose area", Sessions.dose_area_product_gycm2, "Gy·cm²"),
             ("contrast", Sessions.contrast_ml, "mL"))
    said = [f"{name} {float(row[field]):,.0f} {unit}" for name, field, unit in parts
            if pd.notna(row[field])]
    return ", ".join(said) or NOT_RECORDED
