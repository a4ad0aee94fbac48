"""Counts of one simulation, by the definitions of the analysis plan.

Each tally is a numerator and a denominator, overall and by Spetzler–Martin grade and rupture.
They are counted on arrays, apart from the tables and from `analyses`, so that either can be
checked against the other; a test asks for the same counts from the tables of a cohort.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from registry.schema import Complications, FollowUps, Haemorrhages, Injections, Lesions, Patients
from synthetic_cohort.draws import Columns, group_any, group_last
from synthetic_cohort.patient_kinds import PLACE
from synthetic_cohort.persontime import haemorrhage_counts, treated_lesions
from synthetic_cohort.simulate import Simulation
from synthetic_cohort.visits import CATHETER, NONE

Key = tuple[str, str, str]          # estimate id, unit, group such as "sm_grade=3" or ""
Tally = dict[Key, tuple[float, float]]

HAEMORRHAGIC = (PLACE["intracranial haemorrhage"], PLACE["vessel perforation"])
WITH_DEFICIT = tuple(
    PLACE[name] for name in ("unintended vessel occlusion", "thromboembolism", "dissection")
)


WINDOW_DAYS = 30
NEEDS_SEEN = ("complication.permanent_deficit",)


class _Book:
    """Collects tallies of one unit, with its groups."""

    def __init__(self, unit: str, groups: Mapping[str, np.ndarray]) -> None:
        self.unit, self.groups, self.found = unit, groups, {}

    def add(self, name: str, event: np.ndarray, keep: np.ndarray | None = None) -> None:
        """Numerator and denominator of `event` among the units kept."""
        kept = np.ones(len(event), dtype=bool) if keep is None else keep
        hit = event & kept
        self.found[name, self.unit, ""] = (float(hit.sum()), float(kept.sum()))
        for group, level in self.groups.items():
            for value in np.unique(level):
                here = level == value
                key = (name, self.unit, f"{group}={_word(value)}")
                self.found[key] = (float((hit & here).sum()), float((kept & here).sum()))


def _word(value: object) -> str:
    if isinstance(value, (bool, np.bool_)):
        return "yes" if value else "no"
    return str(value)


def tallies(sim: Simulation) -> Tally:
    """Every tally of an observed simulation."""
    books = [*_complications(sim), *_deaths(sim), *_lesions(sim), *_patients(sim)]
    out: Tally = {}
    for book in books:
        out.update(book.found)
    for stage, (events, years) in haemorrhage_counts(sim).items():
        group = f"stage={stage}" if stage else ""
        out["rate.haemorrhage", "patient-year", group] = (events, years)
    return out


def _groups(level: Columns) -> dict[str, np.ndarray]:
    return {"sm_grade": level["sm_grade"], "ruptured": level["ruptured"].astype(bool)}


def event_flags(event: Columns) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """For each measure: which events are one, and which cannot be told yet."""
    code, n = event["kind_code"], len(event["kind_code"])
    never = np.zeros(n, dtype=bool)
    unknown = event["not_yet_known"]
    bleeds = np.isin(code, HAEMORRHAGIC)
    deficit = (event["transient"] | event["permanent"]) & ~unknown
    ischaemic = (code == PLACE["ischaemic stroke"]) | (np.isin(code, WITH_DEFICIT) & deficit)
    ischaemic_unknown = np.isin(code, WITH_DEFICIT) & unknown
    navigation = event[Complications.mechanism] == "navigation perforation"
    return {
        "complication.any": (~never, never),
        "complication.symptomatic": (event[Haemorrhages.symptomatic], never),
        "complication.haemorrhagic": (bleeds, never),
        "complication.haemorrhagic_symptomatic": (bleeds & event[Haemorrhages.symptomatic], never),
        "complication.haemorrhagic_without_navigation": (bleeds & ~navigation, never),
        "complication.ischaemic": (ischaemic, ischaemic_unknown),
        "complication.permanent_deficit": (event["permanent"] & ~unknown, unknown),
    }


def _complications(sim: Simulation) -> list[_Book]:
    event = sim.complication
    # An event that named no session stands at its lesion's latest session: its own.
    places = {
        "session": (event["procedure"], len(sim.procedure["patient"]), sim.procedure, None),
        "lesion": (event["lesion"], len(sim.lesion["patient"]), _lesion_level(sim),
                   sim.lesion["sessions_done"] > 0),
        "patient": (event["patient"], len(sim.patient[Patients.age_y]), _patient_level(sim),
                    _embolized(sim)),
    }
    procedures = np.arange(len(sim.procedure["patient"]))
    unseen_at = {"session": procedures, "patient": sim.procedure["patient"]}
    per_unit = {name: ("session", "patient") for name in event_flags(event)}
    per_unit["complication.any"] = per_unit["complication.symptomatic"] = tuple(places)
    books = []
    for unit, (at, size, level, among) in places.items():
        book = _Book(unit, _groups(level))
        for name, (flag, unknown) in event_flags(event).items():
            if unit in per_unit[name]:
                yes = group_any(flag, at, size)
                open_ = group_any(unknown, at, size) & ~yes
                if name in NEEDS_SEEN:
                    # Whose later course nobody saw is not known to be unharmed.
                    open_ |= group_any(~_seen_after(sim), unseen_at[unit],
                                       size) & ~yes
                keep = ~open_ if among is None else among & ~open_
                book.add(name, yes, keep)
        books.append(book)
    return [*books, _injections(sim), _catheters(sim)]


def _seen_after(sim: Simulation) -> np.ndarray:
    """Of each procedure: whether its patient was seen, or had died, 30 days later."""
    patient, of = sim.patient, sim.procedure["patient"]
    return np.isfinite(patient["recorded_death"])[of] | (
        patient["last_contact"][of] >= sim.procedure["day"] + WINDOW_DAYS)


def _lesion_level(sim: Simulation) -> Columns:
    return {"sm_grade": sim.lesion["sm_grade"], "ruptured": sim.lesion[Lesions.haemorrhage_before]}


def _patient_level(sim: Simulation) -> Columns:
    """Grade of the highest lesion treated, ruptured if one of those bled."""
    lesion, n = sim.lesion, len(sim.patient[Patients.age_y])
    treated = treated_lesions(sim)
    grade = np.zeros(n, dtype=np.int64)
    np.maximum.at(grade, lesion["patient"][treated], lesion["sm_grade"][treated])
    bled = group_any(lesion[Lesions.haemorrhage_before] & treated, lesion["patient"], n)
    return {"sm_grade": grade, "ruptured": bled}


def _embolized(sim: Simulation) -> np.ndarray:
    return np.bincount(sim.procedure["patient"], minlength=len(sim.patient[Patients.age_y])) > 0


def _injections(sim: Simulation) -> _Book:
    injection, event = sim.injection, sim.complication
    book = _Book("injection", {})
    k = len(injection["session"])
    start = np.searchsorted(injection["session"], np.arange(len(sim.session["lesion"])))
    named = event["session_named"] & np.isfinite(event[Injections.injection_no])
    number = np.where(named, event[Injections.injection_no], 1).astype(np.int64)
    row = start[event["session"]] + number - 1
    q = len(sim.procedure["patient"])
    for name in ("complication.any", "complication.symptomatic"):
        flag = event_flags(event)[name][0]
        hit = group_any(flag & named, np.where(named, row, 0), k)
        # Any injection of its procedure may have brought about an event that names none.
        open_ = group_any(flag & ~named, event["procedure"], q)[injection["procedure"]]
        book.add(name, hit, hit | ~open_)
    return book


def _catheters(sim: Simulation) -> _Book:
    retrieval = sim.injection[Injections.retrieval]
    used = ~np.equal(retrieval, None)
    book = _Book("catheter", {})
    book.add("complication.retained_catheter", retrieval == "part retained", used)
    return book


def _deaths(sim: Simulation) -> list[_Book]:
    """Deaths within 30 days of a session, among units whose vital status then is known."""
    procedure, patient, event = sim.procedure, sim.patient, sim.complication
    q, n = len(procedure["patient"]), len(patient[Patients.age_y])
    died = patient["recorded_death"]
    fatal = event["fatal"] & (died[event["patient"]] <= procedure["day"][event["procedure"]] + 30)
    last = group_last(procedure["patient"], n, np.arange(q))
    some = last >= 0
    row = np.maximum(last, 0)
    soon = np.zeros(q, dtype=bool)
    if q:
        near = some & np.isfinite(died) & (died <= procedure["day"][row] + 30)
        soon[row[near]] = True
    known = _seen_after(sim)
    by_session = _Book("session", _groups(procedure))
    by_patient = _Book("patient", _groups(_patient_level(sim)))
    for name, dead in (
        ("complication.death_30d", group_any(fatal, event["procedure"], q)),
        ("death.all_cause_30d", soon),
    ):
        by_session.add(name, dead, known | dead)
        yes = group_any(dead, procedure["patient"], n)
        open_ = group_any(~known & ~dead, procedure["patient"], n)
        by_patient.add(name, yes, some & (yes | ~open_))
    return [by_session, by_patient]


def _lesions(sim: Simulation) -> list[_Book]:
    lesion, session = sim.lesion, sim.session
    rows = len(lesion["patient"])
    other = np.minimum(lesion["resection_day"], lesion["radiosurgery_day"])
    counted = session["assessed"] & (session["day"] <= other[session["lesion"]])
    last = group_last(session["lesion"][counted], rows, np.flatnonzero(counted))
    seen = last >= 0
    pct = np.where(seen, session["after_pct"][np.maximum(last, 0)], np.nan) if len(
        session["lesion"]) else np.full(rows, np.nan)
    book = _Book("lesion", _groups(_lesion_level(sim)))
    book.add("obliteration.embolization_complete", pct == 100, seen)
    book.add("obliteration.embolization_near_complete", pct >= 90, seen)
    operated, imaged = np.isfinite(lesion["resection_day"]), np.isfinite(lesion["angiography_day"])
    complete = lesion["resection_complete"]
    book.add("obliteration.resection_complete", complete, operated & imaged)
    confirmed, presumed = final_states(sim)
    ended = treated_lesions(sim) & ~lesion["ongoing"]
    book.add("obliteration.final_confirmed", confirmed, ended)
    book.add("obliteration.final_presumed", presumed, ended)
    harmed = group_any(sim.complication["permanent"] & ~sim.complication["not_yet_known"],
                       sim.complication["lesion"], rows)
    harmed |= group_any(sim.operation["permanent"] & ~sim.operation["not_yet_known"],
                        sim.operation["lesion"], rows)
    patient = sim.patient
    died = patient["death_known"] & (patient[Patients.death_cause] == "treatment")
    harmed |= died[lesion["patient"]]
    open_ = group_any(sim.complication["not_yet_known"], sim.complication["lesion"], rows)
    open_ |= group_any(sim.operation["not_yet_known"], sim.operation["lesion"], rows)
    book.add("outcome.favourable", confirmed & ~harmed, ended & ~(open_ & ~harmed & confirmed))
    return [book, _extent(sim, pct, operated, imaged)]


def final_states(sim: Simulation) -> tuple[np.ndarray, np.ndarray]:
    """Lesions finally confirmed closed (catheter angiography), and presumed (any imaging)."""
    lesion, visit = sim.lesion, sim.visit
    rows = len(lesion["patient"])
    imaged = np.isfinite(lesion["angiography_day"])
    seen = (visit["imaging_code"] != NONE) & (visit["day"] >= lesion["end_day"][visit["lesion"]])
    day = np.concatenate([visit["day"][seen], lesion["angiography_day"][imaged]])
    at = np.concatenate([visit["lesion"][seen], np.flatnonzero(imaged)])
    catheter = np.concatenate([visit["imaging_code"][seen] == CATHETER, imaged[imaged]])
    closed = np.concatenate([visit["occlusion_code"][seen] == 0,
                             lesion["resection_complete"][imaged]])
    # The angiogram after a resection counts only if no later treatment followed.
    valid = day >= lesion["end_day"][at]
    day, at, catheter, closed = day[valid], at[valid], catheter[valid], closed[valid]
    return (_latest_closed(day, at, catheter, closed, rows),
            _latest_closed(day, at, np.ones(len(day), dtype=bool), closed, rows))


def _latest_closed(
    day: np.ndarray, at: np.ndarray, reading: np.ndarray, closed: np.ndarray, rows: int
) -> np.ndarray:
    latest = np.full(rows, -np.inf)
    np.maximum.at(latest, at[reading], day[reading])
    here = reading & (day == latest[at])
    good = group_any(here & closed, at, rows) & ~group_any(here & ~closed, at, rows)
    return good & ~group_any((day > latest[at]) & ~closed, at, rows)


def _extent(
    sim: Simulation, pct: np.ndarray, operated: np.ndarray, imaged: np.ndarray
) -> _Book:
    lesion, operation = sim.lesion, sim.operation
    rows = len(lesion["patient"])
    permanent = group_any(operation["permanent"] & ~operation["not_yet_known"],
                          operation["lesion"], rows)
    unknown = group_any(operation["not_yet_known"], operation["lesion"], rows)
    band = np.where(np.isnan(pct), 3, (pct >= 50).astype(int) + (pct >= 90))
    words = np.array(["under 50 %", "50 to under 90 %", "90 % or more", "not assessed"])[band]
    words = np.where(lesion["sessions_done"] > 0, words, "not embolized before")
    book = _Book("lesion", {"extent": words})
    book.add("resection.permanent_deficit", permanent, operated & ~unknown)
    book.add("resection.complete_by_extent", lesion["resection_complete"], operated & imaged)
    return book


def _patients(sim: Simulation) -> list[_Book]:
    from synthetic_cohort.observe import last_treatment_days

    patient, n = sim.patient, len(sim.patient[Patients.age_y])
    book = _Book("patient", _groups(_patient_level(sim)))
    harm = np.zeros(n, dtype=bool)
    open_ = np.zeros(n, dtype=bool)
    for table in (sim.complication, sim.operation):
        harm |= group_any(table["permanent"] & ~table["not_yet_known"], table["patient"], n)
        open_ |= group_any(table["not_yet_known"], table["patient"], n)
    harm |= patient["death_known"] & (patient[Patients.death_cause] == "treatment")
    treated = last_treatment_days(sim)
    seen = np.isfinite(patient["recorded_death"]) | (
        patient["last_contact"] >= treated + WINDOW_DAYS)
    book.add("combined.permanent_deficit_or_death", harm, harm | (~open_ & seen))
    last, seen = last_mrs(sim)
    book.add("function.independent", last <= 2, seen)
    book.add("function.worse", last > patient[Patients.mrs_before], seen)
    return [book]


def last_mrs(sim: Simulation) -> tuple[np.ndarray, np.ndarray]:
    """mRS at the last visit 90 days or more after the last treatment (6: died), and who has one."""
    from synthetic_cohort.observe import last_treatment_days

    patient, visit = sim.patient, sim.visit
    n = len(patient[Patients.age_y])
    late = visit["day"] - last_treatment_days(sim)[visit["patient"]] >= 90
    rows = np.flatnonzero(late)
    order = rows[np.lexsort((visit["day"][rows], visit["patient"][rows]))]
    last = group_last(visit["patient"][order], n, np.arange(len(order)))
    mrs = visit[FollowUps.mrs][order[np.maximum(last, 0)]] if len(order) else np.zeros(n)
    died = np.isfinite(patient["recorded_death"])
    return np.where(died, 6, np.where(last >= 0, mrs, 9)), died | (last >= 0)
