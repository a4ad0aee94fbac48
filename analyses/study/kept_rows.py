"""The tables of a freeze without what a study leaves out.

A unit that is left out takes with it what hangs under it; a unit above it that has none left goes
too, so that nobody counts as treated in another way because an embolization was left out. An
embolization complication goes with the session it is placed in.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import pandas as pd

from analyses.population.counted_events import LESION, SESSION, unit_key
from analyses.population.unit_frames import Units
from analyses.study.study_frames import catheter_of
from registry.schema import Complications, Injections, Patients, Resections, Sessions

UNDER_LESION = ("lesions", "resections", "radiosurgeries", "follow_ups", "haemorrhages", "grades")
INJECTION = [*SESSION, Injections.injection_no]
RESECTION = [*LESION, Resections.resection_no]


@dataclass(frozen=True)
class Kept:
    """Rows kept, by their own keys: patients, lesions, sessions rows, injections, resections."""

    patients: frozenset[str]
    lesions: frozenset[str]
    sessions: frozenset[str]
    injections: frozenset[str]
    resections: frozenset[str]


def kept_rows(units: Units, unit: str, keys: Iterable[str]) -> Kept:
    """What stays where only these units of a kind are kept (keys of the study's frames)."""
    tables, wanted = units.tables, set(keys)
    lesions, sessions = (_keyed(tables["lesions"], LESION), _keyed(tables["sessions"], SESSION))
    injections = _keyed(tables["injections"], INJECTION)
    resections = _keyed(tables["resections"], RESECTION)
    if unit == "patient":
        kept = lesions[lesions[Patients.patient_id].isin(wanted)]
        return _below(wanted, set(kept["key"]), lesions, sessions, injections, resections)
    if unit == "session":
        rows = {row for key, rows in zip(units.sessions["key"], units.sessions["rows"],
                                         strict=True) if key in wanted for row in rows}
        sessions = sessions[sessions["key"].isin(rows)]
        whole = set(sessions["lesion"])
    elif unit in ("injection", "catheter"):
        if unit == "catheter":
            owner = catheter_of(units)
            wanted = set(owner.index[owner.isin(wanted)])
        injections = injections[injections["key"].isin(wanted)]
        sessions = sessions[sessions["key"].isin(set(injections["session"]))]
        whole = set(sessions["lesion"])
    elif unit == "resection":
        resections = resections[resections["key"].isin(wanted)]
        whole = set(resections["lesion"])
    else:
        whole = wanted
    people = set(lesions.loc[lesions["key"].isin(whole), Patients.patient_id])
    return _below(people, whole, lesions, sessions, injections, resections)


def tables_of(units: Units, kept: Kept) -> dict[str, pd.DataFrame]:
    """The tables with the kept rows alone."""
    tables = dict(units.tables)
    for name in UNDER_LESION:
        if name in tables:
            tables[name] = _only(tables[name], LESION, kept.lesions)
    for name in ("sessions", "case_numbers"):
        if name in tables:
            tables[name] = _only(tables[name], SESSION, kept.sessions)
    tables["injections"] = _only(tables["injections"], INJECTION, kept.injections)
    tables["resections"] = _only(tables["resections"], RESECTION, kept.resections)
    tables["complications"] = _complications(units, kept)
    tables["patients"] = _only(tables["patients"], [Patients.patient_id], kept.patients)
    if "entries" in tables:
        rows = tables["entries"]
        tables["entries"] = rows[
            rows[Patients.patient_id].isna() | rows[Patients.patient_id].isin(kept.patients)
        ].reset_index(drop=True)
    return tables


def _keyed(table: pd.DataFrame, key: list[str]) -> pd.DataFrame:
    """A table's key as text, with those of the session and the lesion above it."""
    return pd.DataFrame(
        {
            "key": unit_key(table, key),
            Patients.patient_id: table[Patients.patient_id].astype("string"),
            "lesion": unit_key(table, LESION),
            "session": unit_key(table, SESSION) if Sessions.session_no in key else pd.NA,
        }
    )


def _below(
    people: set[str], whole: set[str], lesions: pd.DataFrame, sessions: pd.DataFrame,
    injections: pd.DataFrame, resections: pd.DataFrame,
) -> Kept:
    own = set(sessions.loc[sessions["lesion"].isin(whole), "key"])
    return Kept(
        frozenset(people), frozenset(lesions.loc[lesions["key"].isin(whole), "key"]),
        frozenset(own), frozenset(injections.loc[injections["session"].isin(own), "key"]),
        frozenset(resections.loc[resections["lesion"].isin(whole), "key"]))


def _only(table: pd.DataFrame, key: list[str], kept: frozenset[str]) -> pd.DataFrame:
    return table[unit_key(table, key).isin(kept)].reset_index(drop=True)


def _complications(units: Units, kept: Kept) -> pd.DataFrame:
    """Those of the one set go with their session, the others with what they name."""
    rows = units.tables["complications"]
    own = unit_key(rows, [*LESION, Complications.complication_no])
    events = units.events.set_index("key")
    placed = unit_key(events, [Patients.patient_id, "at_lesion", "at_session"]).reindex(own)
    placed.index = rows.index
    named = unit_key(rows, SESSION)
    sessions = set(unit_key(units.tables["sessions"], SESSION))
    injections = set(unit_key(units.tables["injections"], INJECTION))
    injected = unit_key(rows, INJECTION)
    gone = named.isin(sessions - kept.sessions) | injected.isin(injections - kept.injections)
    stays = unit_key(rows, LESION).isin(kept.lesions) & ~gone
    in_set = placed.notna()
    stays = stays.mask(in_set, placed.isin(kept.sessions) & ~injected.isin(
        injections - kept.injections))
    return rows[stays.astype(bool)].reset_index(drop=True)
