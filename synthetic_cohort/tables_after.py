"""Complications, follow-ups and haemorrhages as typed tables."""

from __future__ import annotations

import numpy as np
import pandas as pd

from registry.schema import (
    Complications,
    FollowUps,
    Haemorrhages,
    Injections,
    Lesions,
    Patients,
    Sessions,
)
from synthetic_cohort.draws import Columns, Streams, take, within
from synthetic_cohort.settings import CohortSettings
from synthetic_cohort.simulate import Simulation
from synthetic_cohort.tables_treatment import deficit_words
from synthetic_cohort.typed_columns import frame, to_dates


def _number(lesion: np.ndarray, day: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Order by lesion and day, and the running number inside the lesion along that order."""
    order = np.lexsort((day, lesion))
    counts = np.unique(lesion[order], return_counts=True)[1] if len(order) else np.zeros(0, int)
    return order, within(counts)


def complications(s: Streams, sim: Simulation, codes: np.ndarray) -> pd.DataFrame:
    """The complications table; adds `complication_no` to the simulation's embolization rows."""
    parts = [_embolization(s, sim), _unrelated(s, sim), _operative(sim)]
    names = sorted(set().union(*parts))
    sizes = [len(part["lesion"]) for part in parts]
    event = {
        name: np.concatenate([
            part[name] if name in part else _blank(name, size)
            for part, size in zip(parts, sizes, strict=True)
        ]) for name in names
    }
    order, number = _number(event["lesion"], event["day"])
    event = {name: values[order] for name, values in event.items()}
    event[Complications.complication_no] = number
    back = np.empty(len(order), dtype=np.int64)
    back[order] = number
    sim.complication[Complications.complication_no] = back[: sizes[0]]
    fatal = sim.operation["fatal"]
    sim.operation[Complications.complication_no] = np.full(len(fatal), np.nan)
    sim.operation[Complications.complication_no][fatal] = back[sizes[0] + sizes[1]:]
    event[Patients.patient_id] = codes[sim.lesion["patient"][event["lesion"]]]
    event[Lesions.lesion_no] = sim.lesion[Lesions.lesion_no][event["lesion"]]
    event[Complications.onset_date] = to_dates(event["day"])
    return frame("complications", event, len(order))


def _blank(name: str, size: int) -> np.ndarray:
    if name in {
        Sessions.session_no,
        Injections.injection_no,
        Complications.hours_after,
        Complications.recognised_after_min,
        Complications.treated_after_min,
        Complications.mrs_worst,
        Complications.mrs_30d,
        Complications.mrs_90d,
    }:
        return np.full(size, np.nan)
    if name == Complications.resolved_date:
        return np.full(size, np.datetime64("NaT"), dtype="datetime64[ns]")
    return np.full(size, None, dtype=object)


def _embolization(s: Streams, sim: Simulation) -> Columns:
    event = sim.complication
    n = len(event["lesion"])
    out: Columns = {name: event[name] for name in (
        "lesion", "day", "kind", "symptomatic", "mechanism", "rescue", "attribution")}
    named = event["session_named"]
    out[Sessions.session_no] = np.where(
        named, sim.session[Sessions.session_no][event["session"]], np.nan
    )
    out[Injections.injection_no] = np.where(named, event[Injections.injection_no], np.nan)
    out[Complications.hours_after] = np.where(named, event[Complications.hours_after], np.nan)
    out[Complications.phase] = np.full(n, "embolization", dtype=object)
    out[Complications.deficit] = deficit_words(event)
    out[Complications.death] = event["fatal"]
    out[Complications.cause] = np.where(
        event[Complications.attribution] == "definite",
        "embolization",
        s.pick("cause", ("embolization", "cannot be separated"), (0.8, 0.2), n),
    ).astype(object)
    out[Complications.resolved_date] = to_dates(event["resolved_day"])
    found = np.rint(s.lognormal("found", 12.0, 1.1, n))
    out[Complications.recognised_after_min] = np.where(
        event[Complications.symptomatic], found, np.nan
    )
    out[Complications.treated_after_min] = np.where(
        event[Complications.symptomatic] & (event[Complications.rescue] != "none"),
        found + np.rint(20 + found),
        np.nan,
    )
    out[Complications.preventable] = s.pick(
        "preventable", ("no", "possibly", "yes", "not reviewed"), (0.5, 0.28, 0.07, 0.15), n
    )
    out[Complications.reviewed_by] = s.pick("reviewed", ("one reader", "two readers", "committee"),
                                (0.35, 0.35, 0.3), n)
    out[Complications.clavien_dindo] = _clavien(event)
    before = sim.patient[Patients.mrs_before][event["patient"]]
    worse = event["worse"] * (event["permanent"] | event["transient"])
    out[Complications.mrs_worst] = np.where(
        event["fatal"], 6, np.minimum(before + worse, 5)
    ).astype(float)
    lasting = np.minimum(before + event["worse"] * event["permanent"], 5)
    known = ~event["not_yet_known"] & (event["day"] + 95 <= sim.patient["last_contact"][
        event["patient"]])
    out[Complications.mrs_30d] = np.where(event["fatal"], 6, np.where(known, lasting, np.nan))
    out[Complications.mrs_90d] = out[Complications.mrs_30d]
    return out


def _clavien(event: Columns) -> np.ndarray:
    """Dindo 2004, by what was done: nothing I, medicines II, intervention IIIb, organ IVa."""
    code = np.zeros(len(event["lesion"]), dtype=int)
    code[event[Complications.rescue] == "medical"] = 1
    code[np.isin(event[Complications.rescue], ("endovascular", "open operation"))] = 3
    code[event["permanent"] & (event["worse"] >= 3)] = 4
    code[event["fatal"]] = 6
    return take(("I", "II", "IIIa", "IIIb", "IVa", "IVb", "V"), code)


def _unrelated(s: Streams, sim: Simulation) -> Columns:
    event = sim.unrelated
    n = len(event["lesion"])
    gap = event["day"] - sim.procedure["day"][event["procedure"]]
    operated = np.minimum(sim.lesion["resection_day"], sim.lesion["radiosurgery_day"])
    early = (gap <= 30) & (event["day"] < operated[event["lesion"]])
    return {
        "lesion": event["lesion"], "day": event["day"], "kind": event[Complications.kind],
        "phase": np.where(early, "embolization", "follow-up").astype(object),
        "symptomatic": np.full(n, True, dtype=object),
        "deficit": np.full(n, "none", dtype=object),
        "death": np.zeros(n, dtype=bool),
        "attribution": np.full(n, "unrelated", dtype=object),
        "cause": np.full(n, "cannot be separated", dtype=object),
        "rescue": s.pick("unrelated rescue", ("none", "medical"), (0.3, 0.7), n),
    }


def _operative(sim: Simulation) -> Columns:
    """Deaths of an operation are events of the resection, not of the embolization."""
    hit = np.flatnonzero(sim.operation["fatal"])
    n = len(hit)
    return {
        "lesion": sim.operation["lesion"][hit], "day": sim.operation["day"][hit],
        "kind": np.full(n, "intracranial haemorrhage", dtype=object),
        "phase": np.full(n, "resection", dtype=object),
        "symptomatic": np.full(n, True, dtype=object),
        "deficit": np.full(n, "permanent", dtype=object),
        "death": np.ones(n, dtype=bool),
        "attribution": np.full(n, "unrelated", dtype=object),
        "cause": np.full(n, "resection", dtype=object),
        Complications.mrs_worst: np.full(n, 6.0),
    }


def follow_ups(sim: Simulation, codes: np.ndarray) -> pd.DataFrame:
    """The follow-ups table."""
    from synthetic_cohort.visits import visit_words

    visit, lesion = dict(sim.visit), sim.lesion
    order, number = _number(visit["lesion"], visit["day"])
    visit = {name: values[order] for name, values in visit.items()}
    visit.update(visit_words(visit))
    visit[FollowUps.follow_up_no] = number
    visit[Patients.patient_id] = codes[visit["patient"]]
    visit[Lesions.lesion_no] = lesion[Lesions.lesion_no][visit["lesion"]]
    visit[FollowUps.follow_up_date] = to_dates(visit["day"])
    visit[FollowUps.mrs_rater] = take(
        ("operator", "independent"), visit["independent_rater"].astype(int)
    )
    visit[FollowUps.haemorrhage_since] = _bled_since(sim, visit)
    visit[FollowUps.treated_again] = np.zeros(len(order), dtype=bool)
    return frame("follow_ups", visit, len(order))


def _bled_since(sim: Simulation, visit: Columns) -> np.ndarray:
    """Whether a bleed of the lesion lies between the visit before and this one.

    A first visit asks from the end of the patient's treatment, of whichever lesion.
    """
    span = 1_000_000.0
    key = np.sort(sim.bleed["lesion"] * span + sim.bleed["day"])
    here = visit["lesion"] * span + visit["day"]
    first = visit[FollowUps.follow_up_no] == 1
    since = np.where(first, sim.patient["end_day"][visit["patient"]], np.roll(visit["day"], 1))
    before = visit["lesion"] * span + since
    return np.searchsorted(key, here, side="right") > np.searchsorted(key, before, side="right")


def haemorrhages(
    s: Streams, cfg: CohortSettings, sim: Simulation, codes: np.ndarray
) -> pd.DataFrame:
    """The haemorrhages table: presenting, between, spontaneous afterwards, from a procedure."""
    lesion = sim.lesion
    first = np.searchsorted(lesion["patient"], np.arange(len(codes)))
    parts = [_presenting(sim, first), _early(sim, first), _later(sim), _procedural(sim),
             _fatal_operations(sim)]
    event = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    order, number = _number(event["lesion"], event["day"])
    event = {name: values[order] for name, values in event.items()}
    event[Haemorrhages.haemorrhage_no] = number
    event[Patients.patient_id] = codes[lesion["patient"][event["lesion"]]]
    event[Lesions.lesion_no] = lesion[Lesions.lesion_no][event["lesion"]]
    event[Haemorrhages.haemorrhage_date] = to_dates(event["day"])
    n = len(order)
    part = (1 - cfg.part_dates, cfg.part_dates)
    event[Haemorrhages.date_known_to] = s.pick("bleed date", ("day", "month"), part, n)
    return frame("haemorrhages", event, n)


def _bleed_rows(
    lesion: np.ndarray, day: np.ndarray, deficit: np.ndarray, cause: str,
    number: np.ndarray | None = None, symptomatic: np.ndarray | None = None,
) -> Columns:
    n = len(lesion)
    return {
        "lesion": lesion,
        "day": day,
        "deficit": deficit.astype(object),
        "cause": np.full(n, cause, dtype=object),
        Complications.complication_no: np.full(n, np.nan)
        if number is None
        else number.astype(float),
        "symptomatic": np.ones(n, dtype=bool) if symptomatic is None else symptomatic,
    }


def _presenting(sim: Simulation, first: np.ndarray) -> Columns:
    patient = sim.patient
    hit = np.flatnonzero(patient["ruptured_at_presentation"])
    deficit = np.where(patient[Patients.mrs_before][hit] >= 2, "permanent", "none")
    return _bleed_rows(first[hit], patient["presentation_day"][hit], deficit, "spontaneous")


def _early(sim: Simulation, first: np.ndarray) -> Columns:
    hit = np.flatnonzero(np.isfinite(sim.patient["early_bleed_day"]))
    return _bleed_rows(first[hit], sim.patient["early_bleed_day"][hit],
                       np.full(len(hit), "none", dtype=object), "spontaneous")


def _later(sim: Simulation) -> Columns:
    bleed = sim.bleed
    code = np.where(bleed["permanent"] | bleed["fatal"], 2, bleed["transient"].astype(int))
    words = take(("none", "transient", "permanent"), code)
    return _bleed_rows(bleed["lesion"], bleed["day"], words, "spontaneous")


def _procedural(sim: Simulation) -> Columns:
    event = sim.complication
    hit = np.flatnonzero(event[Complications.kind] == "intracranial haemorrhage")
    words = deficit_words(event)[hit]
    words = np.where(words == "not yet known", None, words)
    return _bleed_rows(
        event["lesion"][hit],
        event["day"][hit],
        words,
        "a procedure",
        event[Complications.complication_no][hit],
        event[Complications.symptomatic][hit],
    )


def _fatal_operations(sim: Simulation) -> Columns:
    operation = sim.operation
    hit = np.flatnonzero(operation["fatal"])
    return _bleed_rows(operation["lesion"][hit], operation["day"][hit],
                       np.full(len(hit), "permanent", dtype=object), "a procedure",
                       operation[Complications.complication_no][hit])
