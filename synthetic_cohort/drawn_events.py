"""Complication rows: kind, severity, timing and course of every event.

A complicated procedure has one event, sometimes a second. How severe an event is depends on
its kind alone, so the odds ratios of the complication model hold for "any complication". Only
an event of a patient's last procedure can be fatal: the number of procedures then carries no
news of their outcome, and the model's odds ratios are exactly those of the observed procedures.
"""

from __future__ import annotations

import numpy as np

from registry.schema import Complications, Injections
from synthetic_cohort.course import NEVER
from synthetic_cohort.draws import Columns, Streams, group_any, group_last, take
from synthetic_cohort.patient_kinds import KINDS, NAMES, PLACE, UNRELATED


def draw_complications(
    s: Streams, patient: Columns, lesion: Columns, session: Columns, procedure: Columns,
    injection: Columns,
) -> Columns:
    """One row an embolization event; `death_day` is inf where nobody died of it."""
    hit = np.flatnonzero(procedure["complicated"])
    more = s.chance("second event", 0.07, len(hit))
    event: Columns = {"procedure": np.repeat(hit, 1 + more)}
    n = len(event["procedure"])
    event["second"] = np.r_[False, event["procedure"][1:] == event["procedure"][:-1]][:n]
    event["patient"] = procedure["patient"][event["procedure"]]
    _place(s, session, procedure, event)
    _kind(s, session, injection, event)
    _timing(s, patient, lesion, procedure, event)
    _severity(s, procedure, event)
    _injection(s, session, injection, event)
    return event


def _place(s: Streams, session: Columns, procedure: Columns, event: Columns) -> None:
    """The session of an event: of two lesions in one procedure, one at random."""
    order = np.argsort(session["procedure"], kind="stable")
    ordered = session["procedure"][order]
    start = np.searchsorted(ordered, event["procedure"], side="left")
    count = np.searchsorted(ordered, event["procedure"], side="right") - start
    which = np.floor(s.uniform("event lesion", len(start)) * count).astype(np.int64)
    event["session"] = order[start + which]
    event["lesion"] = session["lesion"][event["session"]]


def _kind(s: Streams, session: Columns, injection: Columns, event: Columns) -> None:
    n = len(event["procedure"])
    code = s.code("kind", [kind.share for kind in KINDS], n)
    later = s.code("second kind", (0.5, 0.3, 0.2), n)
    second = np.array([PLACE["seizure"], PLACE["medical"], PLACE["access site"]])[later]
    code = np.where(event["second"], second, code)
    # A catheter is retained only where one carried agent.
    bare = session["injections"][event["session"]] == 0
    code = np.where(bare & (code == PLACE["retained catheter"]), PLACE["access site"], code)
    # A vein closed on purpose is no complication.
    meant = group_any(injection[Injections.access] == "vein", injection["session"],
                      len(session["lesion"]))[event["session"]]
    code = np.where(meant & (code == PLACE["outflow vein occlusion"]),
                    PLACE["unintended vessel occlusion"], code)
    event["kind_code"] = code
    event[Complications.kind] = take(NAMES, code)


def _timing(
    s: Streams, patient: Columns, lesion: Columns, procedure: Columns, event: Columns
) -> None:
    """Days from the procedure to the event: before the next treatment, most on the day."""
    n = len(event["procedure"])
    day = procedure["day"][event["procedure"]]
    late = np.minimum(1 + np.floor(s.exponential("delay", 0.25, n)), 29)
    delay = np.where(s.chance("same day", 0.78, n), 0, late)
    technical = np.array([kind.technical for kind in KINDS])[event["kind_code"]]
    bleeds = event["kind_code"] == PLACE["intracranial haemorrhage"]
    delay = np.where(technical & ~bleeds, 0, delay)
    following = _next_treatment(lesion, procedure, event)
    delay = np.minimum(delay, np.maximum(following - day - 1, 0))
    # A patient who was to die of something else has the event before it.
    delay = np.minimum(delay, patient["death_day"][event["patient"]] - day)
    event["day"] = day + delay
    hours = np.where(delay == 0, 8 * s.uniform("hours", n), 24 * delay - 6 * s.uniform("hour", n))
    event[Complications.hours_after] = np.round(hours, 1)
    event["delay"] = delay


def _next_treatment(lesion: Columns, procedure: Columns, event: Columns) -> np.ndarray:
    """Day of the patient's next procedure, resection or radiosurgery after the event's own."""
    q = len(procedure["patient"])
    following = np.full(q, NEVER)
    same = procedure["patient"][1:] == procedure["patient"][:-1]
    following[:-1][same] = procedure["day"][1:][same]
    day = procedure["day"][event["procedure"]]
    out = following[event["procedure"]]
    for name in ("resection_day", "radiosurgery_day"):
        other = lesion[name][event["lesion"]]
        out = np.minimum(out, np.where(other >= day, other, NEVER))
    return out


def _severity(s: Streams, procedure: Columns, event: Columns) -> None:
    n = len(event["procedure"])
    code = event["kind_code"]

    def of(name: str) -> np.ndarray:
        return np.array([getattr(kind, name) for kind in KINDS])[code]

    event[Complications.symptomatic] = s.chance("symptomatic", of("symptomatic"), n)
    u = s.uniform("deficit", n)
    permanent = event[Complications.symptomatic] & (u < of("permanent"))
    transient = (
        event[Complications.symptomatic] & ~permanent & (u < of("permanent") + of("transient"))
    )
    last = group_last(procedure["patient"], int(procedure["patient"].max(initial=-1)) + 1,
                      np.arange(len(procedure["patient"])))
    final = last[event["patient"]] == event["procedure"]
    fatal = event[Complications.symptomatic] & final & s.chance("fatal", of("fatal"), n)
    after = s.code("death after", (0.15, 0.2, 0.15, 0.1, 0.1, 0.1, 0.1, 0.1), n)
    after = np.minimum(after * 2, 30 - event["delay"])
    event["death_day"] = np.where(fatal, event["day"] + after, NEVER)
    event["fatal"] = fatal
    event["permanent"] = permanent | fatal
    event["transient"] = transient & ~fatal
    event["resolved_day"] = np.where(
        event["transient"], event["day"] + 1 + s.poisson("resolved", 6.0, n), NEVER
    )
    event["worse"] = 1 + s.code("worse", (0.55, 0.30, 0.15), n)
    event[Complications.attribution] = s.pick(
        "attribution", ("definite", "probable", "possible"), (0.6, 0.25, 0.15), n
    )
    mechanisms = [s.pick(f"mechanism {kind.name}", kind.mechanisms,
                         [1.0] * len(kind.mechanisms), n) for kind in KINDS]
    event[Complications.mechanism] = np.choose(code, mechanisms) if n else np.empty(0, dtype=object)
    rescue = s.code_by_row("rescue", np.array([kind.rescue for kind in KINDS])[code])
    event[Complications.rescue] = take(
        ("none", "medical", "endovascular", "open operation"), rescue
    )


def _injection(s: Streams, session: Columns, injection: Columns, event: Columns) -> None:
    """Tie technical events to an injection; a retained catheter shows in its retrieval."""
    n = len(event["procedure"])
    start = np.searchsorted(injection["session"], event["session"], side="left")
    count = session["injections"][event["session"]]
    which = np.minimum(np.floor(s.uniform("which injection", n) * count), np.maximum(count - 1, 0))
    row = start + which.astype(np.int64)
    retained = event["kind_code"] == PLACE["retained catheter"]
    technical = np.array([kind.technical for kind in KINDS])[event["kind_code"]]
    named = (count > 0) & technical & s.chance("injection named", 0.7, n)
    retained_row = _last_of_catheter(injection, row[retained])
    row[retained] = retained_row
    injection[Injections.retrieval][retained_row] = "part retained"
    numbers = np.r_[injection[Injections.injection_no], 0]      # a place for events without any
    event[Injections.injection_no] = np.where(named | retained, numbers[row], np.nan)
    unnamed = (
        ~retained
        & np.isnan(event[Injections.injection_no])
        & s.chance("session named not", 0.08, n)
    )
    event["session_named"] = ~unnamed


def _last_of_catheter(injection: Columns, rows: np.ndarray) -> np.ndarray:
    """The row that carries the retrieval of the catheter used in each row."""
    following = np.minimum(rows + 1, len(injection["session"]) - 1)
    return np.where(injection["second"][following] & (following > rows), following, rows)


def draw_unrelated(
    s: Streams, patient: Columns, lesion: Columns, procedure: Columns, lock: int
) -> Columns:
    """Events that embolization did not cause (attribution unrelated): they count nowhere."""
    q = len(procedure["patient"])
    hit = np.flatnonzero(s.chance("unrelated", 0.02, q))
    event: Columns = {"procedure": hit, "patient": procedure["patient"][hit]}
    n = len(hit)
    event[Complications.kind] = s.pick("unrelated kind", UNRELATED, (0.35, 0.35, 0.15, 0.15), n)
    event["day"] = procedure["day"][hit] + 2 + np.floor(60 * s.uniform("unrelated day", n))
    event["lesion"] = np.searchsorted(lesion["patient"], event["patient"])
    keep = (event["day"] <= lock) & (event["day"] < patient["death_day"][event["patient"]])
    return {name: values[keep] for name, values in event.items()}
