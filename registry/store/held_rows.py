"""Rows kept out: held whole, as raw text with their reasons, until they can come in.

For every patient that a source names, its holding mirrors what its latest version could not get
in; patients it no longer names stay held. A patient held from another source is let go when that
patient first comes into the registry.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Collection, Iterable
from typing import TYPE_CHECKING, Any

import pandas as pd
from sqlalchemy import Connection, Table, func, select

from registry.schema import TABLES, Patients
from registry.schema.canonical import Record, canonical_json, plain_values, sha256
from registry.schema.migrations.carried_over import carried_text
from registry.schema.migrations.numbered import Migration
from registry.store.changes import keys_of
from registry.store.decide import incoming_of
from registry.store.decision import Decision
from registry.store.trail import Origin, TrailWriter

if TYPE_CHECKING:
    from registry.store.batch import Batch

HELD_COLUMNS = (
    "table", Patients.patient_id, "sheet", "row", "values", "reasons", "source_id", "source_name",
    "source_sha256", "held_at",
)
IN_ORDER = "This row is in order"
"""How the reason of a row begins that has no fault of its own and waits with its patient."""

_SAME = ("table_name", Patients.patient_id, "sheet", "row_no", "row_values", "reasons")


def held_records(batch: Batch, decision: Decision) -> list[Record]:
    """Everything of the batch that stays out: held by the intake, or kept out by the store."""
    rows = [
        _record(row.table, row.patient_id, row.place, dict(row.values), row.reasons)
        for row in batch.held
    ]
    return rows + _kept_out(batch, decision)


def patients_named(batch: Batch) -> set[str]:
    """Every patient that a batch names, in the rows ready to go in or in those held."""
    ready = {str(code) for frame in batch.tables.values() if Patients.patient_id in frame
             for code in frame[Patients.patient_id].dropna().unique()}
    return ready | set(batch.patients_held)


def _record(
    table: str, patient: str | None, place: Any, values: dict[str, str], reasons: Iterable[str],
) -> Record:
    return {
        "table_name": table, Patients.patient_id: patient,
        "sheet": place.sheet if place else None, "row_no": place.row if place else None,
        "row_values": canonical_json(values), "reasons": canonical_json(list(reasons)),
    }


def _kept_out(batch: Batch, decision: Decision) -> list[Record]:
    if not decision.problems:
        return []
    reasons: dict[str | None, list[str]] = {}
    for problem in decision.problems:
        reasons.setdefault(problem.patient_id, []).append(problem.sentence())
    incoming = incoming_of(batch)
    found = []
    for name, spec in TABLES.items():
        frame = incoming.tables[name]
        keys = keys_of(frame, spec)
        out = keys.isin(decision.rows_out.get(name, set()))
        if Patients.patient_id in spec.key:
            out |= frame[Patients.patient_id].isin(list(decision.patients_out))
        texts = {f.name: _texts(frame[f.name], f.type) for f in spec.fields}
        for position in [i for i, yes in enumerate(out) if yes]:
            values = {n: t[position] for n, t in texts.items() if t[position]}
            patient = values.get(Patients.patient_id) if Patients.patient_id in spec.key else None
            place = incoming.places[name].get(keys.iloc[position])
            found.append(_record(name, patient, place, values, reasons.get(patient, [])))
    return found


def _texts(column: pd.Series, kind: str) -> list[str]:
    words = {None: "", True: "yes", False: "no"}
    values = plain_values(column, kind)
    return [words[v] if v is None or isinstance(v, bool) else str(v) for v in values]


def hold(
    connection: Connection, held: Table, writer: TrailWriter, rows: list[Record],
    come_in: Collection[str], named: Collection[str],
) -> None:
    """Hold `rows` of this source in place of what it held of the same patients; note the change.

    `named` are all patients that the source names now. One it does not name stays held: a copy
    that brings back only some of those kept out must not lose the others. `come_in` are the
    patients that came into the registry for the first time: what other sources held of them is
    let go.
    """
    origin = writer.origin
    before = [row for row in _of_source(connection, held, origin.source_id)
              if row[Patients.patient_id] is None or row[Patients.patient_id] in named]
    if [tuple(r[n] for n in _SAME) for r in before] != [tuple(r[n] for n in _SAME) for r in rows]:
        numbers = [row["held_no"] for row in before]
        connection.execute(held.delete().where(held.c.held_no.in_(numbers)))
        _insert(connection, held, writer, rows)
        _note(writer, before, rows)
    elsewhere = (held.c.source_id != origin.source_id) & held.c.patient_id.in_(list(come_in))
    let_go = [dict(r) for r in connection.execute(select(held).where(elsewhere)).mappings()]
    if let_go:
        connection.execute(held.delete().where(elsewhere))
        _note(writer, let_go, [])


def carry_held(
    connection: Connection, held: Table, writer: TrailWriter, migration: Migration,
) -> int:
    """Carry the rows held back over to a later version; returns how many say something else.

    They stay held with their reasons: their source is taken in again to bring them in.
    """
    query = select(held).order_by(held.c.held_no)
    before = [dict(row) for row in connection.execute(query).mappings()]
    after = [_carried(row, migration) for row in before]
    count = 0
    for old, new in zip(before, after, strict=True):
        if old != new:
            count += 1
            connection.execute(held.update().where(held.c.held_no == old["held_no"])
                               .values(row_values=new["row_values"]))
    for source in dict.fromkeys(row["source_id"] for row in before):
        mine = [[row for row in rows if row["source_id"] == source] for rows in (before, after)]
        _note(writer, *mine, source=_origin(mine[0][0]))
    return count


def _carried(row: Record, migration: Migration) -> Record:
    values = carried_text(row["table_name"], json.loads(row["row_values"]), [migration])
    return {**row, "row_values": canonical_json(values)}


def _origin(row: Record) -> Origin:
    return Origin(None, row["source_id"], row["source_name"], row["source_sha256"])


def _of_source(connection: Connection, held: Table, source_id: str | None) -> list[Record]:
    query = select(held).where(held.c.source_id == source_id).order_by(held.c.held_no)
    return [dict(row) for row in connection.execute(query).mappings()]


def _insert(
    connection: Connection, held: Table, writer: TrailWriter, rows: list[Record],
) -> None:
    if not rows:
        return
    last = connection.execute(select(func.coalesce(func.max(held.c.held_no), 0))).scalar_one()
    origin = writer.origin
    connection.execute(held.insert(), [
        {**row, "held_no": last + number, "source_id": origin.source_id,
         "source_name": origin.source_name, "source_sha256": origin.source_sha256,
         "held_at": writer.at}
        for number, row in enumerate(rows, start=1)
    ])


def _note(
    writer: TrailWriter, before: list[Record], after: list[Record], *,
    source: Origin | None = None,
) -> None:
    """One entry a patient whose holding changed.

    The trail can never be cleared, so it keeps only how many rows and their hash: raw text of
    a refused cell may hold what must not be kept.
    """
    old, new = _by_patient(before), _by_patient(after)
    for patient in [*new, *(name for name in old if name not in new)]:
        if old.get(patient) != new.get(patient):
            writer.add(
                "held" if patient in new else "let go", table="held_rows",
                key=canonical_json([patient]), before=old.get(patient), after=new.get(patient),
                source=source,
            )


def _by_patient(rows: list[Record]) -> dict[str | None, Record]:
    counts = Counter(row[Patients.patient_id] for row in rows)
    return {
        patient: {
            "rows": count,
            "sha256": sha256(canonical_json([
                [row[name] for name in _SAME] for row in rows if row[Patients.patient_id] == patient
            ])),
        }
        for patient, count in counts.items()
    }


def held_frame(connection: Connection, held: Table) -> pd.DataFrame:
    """Every row held: its table, patient, place, raw text by field, reasons and source.

    `values` is a dictionary of texts, `reasons` a list of sentences; other columns are text,
    `row` a whole number.
    """
    rows = [
        {
            "table": r["table_name"],
            Patients.patient_id: r[Patients.patient_id],
            "sheet": r["sheet"],
            "row": r["row_no"],
            "values": json.loads(r["row_values"]),
            "reasons": json.loads(r["reasons"]),
            "source_id": r["source_id"],
            "source_name": r["source_name"],
            "source_sha256": r["source_sha256"],
            "held_at": r["held_at"],
        }
        for r in connection.execute(select(held).order_by(held.c.held_no)).mappings()
    ]
    return pd.DataFrame(rows, columns=list(HELD_COLUMNS)).astype({"row": "Int64"})
