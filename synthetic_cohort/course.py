"""The planned course of treatment: sessions, procedures, operations, radiosurgery and dates.

A procedure is what the angiography suite counts; a session is a procedure on one lesion. Days
count from the service's first day. The plan is drawn as though nobody dies and the records
never end; `lifetime` cuts it afterwards.
"""

from __future__ import annotations

import numpy as np

from registry.schema import Lesions, Patients, Sessions
from synthetic_cohort.draws import Columns, Streams, group_sum, logistic, take, within
from synthetic_cohort.settings import CohortSettings

FIRST_DAY = "2014-01-01"
LOCK = 3651                 # 2023-12-31, the last day of the records
INTENTS = ("before resection", "before radiosurgery", "curative", "weak point only", "palliative")
NEVER = np.inf


def draw_plan(s: Streams, cfg: CohortSettings, patient: Columns, lesion: Columns) -> None:
    """Add to the lesions: intent and number of sessions (0: resected without embolization)."""
    n = len(lesion["patient"])
    grade = lesion["sm_grade"]
    weights = np.where(
        (grade <= 2)[:, None], (0.62, 0.07, 0.28, 0.02, 0.01),
        np.where((grade == 3)[:, None], (0.66, 0.14, 0.13, 0.05, 0.02),
                 (0.50, 0.17, 0.05, 0.16, 0.12)),
    )
    lesion["intent_code"] = s.code_by_row("intent", weights)
    lesion[Sessions.intent] = take(INTENTS, lesion["intent_code"])
    # Sessions a patient: 1.76 in Ledezma 2006 (295/168), 1.87 in Starke 2009 (377/202), 2.07 in
    # Baharvahdat 2014 (846/408).
    mean = 0.45 + 0.12 * (lesion[Lesions.feeding_pedicles] - 1) + 0.15 * (lesion["size_points"] - 1)
    mean = mean * np.where(lesion["intent_code"] >= 3, 0.6, 1.0)
    number = np.minimum(1 + s.poisson("sessions", mean, n), 5)
    single = group_sum(np.ones(n), lesion["patient"], len(patient[Patients.age_y])) == 1
    straight = (
        s.chance("not embolized", cfg.not_embolized / 0.75, n)
        & single[lesion["patient"]] & (grade <= 3)
    )
    lesion["sessions"] = np.where(straight, 0, number)
    planned = number + s.code("planned", (0.06, 0.86, 0.08), n) - 1
    lesion[Sessions.sessions_planned] = np.clip(planned, 1, 6)


def draw_procedures(s: Streams, patient: Columns, lesion: Columns) -> tuple[Columns, Columns]:
    """Procedures and sessions with their days; adds `first_day` to the patients."""
    n = len(patient[Patients.age_y])
    first = np.searchsorted(lesion["patient"], np.arange(n))
    two = group_sum(np.ones(len(lesion["patient"])), lesion["patient"], n) == 2
    a = lesion["sessions"][first]
    b = np.where(two, lesion["sessions"][np.minimum(first + 1, len(lesion["patient"]) - 1)], 0)
    together = two & s.chance("together", 0.6, n)
    count = np.where(together, np.maximum(a, b), a + b)
    procedure: Columns = {
        "patient": np.repeat(np.arange(n), count),
        Sessions.procedure_no: within(count),
    }
    q = len(procedure["patient"])
    gap = np.clip(np.rint(s.lognormal("interval", 32.0, 0.5, q)), 5, 200)
    turn = (~together & two)[procedure["patient"]]
    apart = turn & (procedure[Sessions.procedure_no] == a[procedure["patient"]] + 1)
    gap = np.where(procedure[Sessions.procedure_no] == 1, 0, gap + 90 * apart)
    patient["first_day"] = np.floor(s.uniform("first day", n) * (LOCK + 1))
    start = np.cumsum(count) - count
    total = np.cumsum(gap)
    before = np.where(count > 0, total[np.minimum(start, max(q - 1, 0))] if q else 0, 0)
    procedure["day"] = (
        patient["first_day"][procedure["patient"]] + total - before[procedure["patient"]]
    )
    return procedure, _sessions(lesion, procedure, first, start, a, together)


def _sessions(
    lesion: Columns, procedure: Columns, first: np.ndarray, start: np.ndarray, a: np.ndarray,
    together: np.ndarray,
) -> Columns:
    rows = len(lesion["patient"])
    session: Columns = {"lesion": np.repeat(np.arange(rows), lesion["sessions"])}
    session[Sessions.session_no] = within(lesion["sessions"])
    owner = lesion["patient"][session["lesion"]]
    second = session["lesion"] != first[owner]
    shift = np.where(second & ~together[owner], a[owner], 0)
    session["patient"] = owner
    session["procedure"] = start[owner] + shift + session[Sessions.session_no] - 1
    session["day"] = procedure["day"][session["procedure"]]
    return session


def draw_extent(s: Streams, lesion: Columns, session: Columns) -> None:
    """Occlusion: how far embolization closes each lesion, and how it grows over the sessions.

    log-odds of immediate complete occlusion (known): curative intent +2.0, one grade more
    −0.45, one feeding pedicle more −0.10, diffuse border −0.5. Level: about a fifth, as the 22 %
    of 45 patients in PMC3404756.
    """
    n, m = len(lesion["patient"]), len(session["lesion"])
    curative = lesion["intent_code"] == 2
    linear = (
        -2.1 + 2.0 * curative - 0.45 * (lesion["sm_grade"] - 3)
        - 0.10 * (lesion[Lesions.feeding_pedicles] - 4) - 0.5 * lesion["diffuse"]
        - 1.5 * (lesion["intent_code"] >= 3)
    )
    aborted = s.chance("aborted", 0.03, m)
    worked = group_sum(~aborted, session["lesion"], n) > 0
    complete = s.chance("complete", logistic(linear), n) & worked
    share = logistic(
        0.9 + 0.6 * curative - 1.3 * (lesion["intent_code"] >= 3)
        - 0.25 * (lesion["sm_grade"] - 3) + 0.8 * s.normal("extent", n)
    )
    lesion["final_pct"] = np.where(complete, 100.0, np.clip(100 * share, 5, 97)) * worked
    lesion["embolized_completely"] = complete
    weight = np.exp(0.4 * s.normal("extent by session", m)) * ~aborted
    total = group_sum(weight, session["lesion"], n)[session["lesion"]]
    running = np.cumsum(weight)
    start = np.searchsorted(session["lesion"], session["lesion"])
    running = running - (running[start] - weight[start])
    reached = lesion["final_pct"][session["lesion"]] * running / np.where(total > 0, total, 1)
    rounded = np.minimum(np.rint(reached / 5) * 5, 95)
    done = complete[session["lesion"]] & (running >= total * (1 - 1e-9)) & (total > 0)
    session["after_pct"] = np.where(done, 100.0, rounded)
    first = session[Sessions.session_no] == 1
    session["before_pct"] = np.where(first, 0.0, np.roll(session["after_pct"], 1))
    session["aborted"] = aborted
    session["assessed"] = ~s.chance("not assessed", 0.03, m)


def draw_resections(s: Streams, lesion: Columns, session: Columns) -> None:
    """Add to the lesions the day of resection (never: inf), its result and its angiogram.

    A resection before which the nidus was embolized comes 1–7 days after the last session
    (common practice, no source); residual nidus after a curative attempt may come later.
    """
    n = len(lesion["patient"])
    last = np.full(n, -np.inf)
    np.maximum.at(last, session["lesion"], session["day"])
    lesion["last_session_day"] = last
    early = (lesion["intent_code"] == 0) & s.chance("resected", 0.93, n)
    rest = (
        (lesion["intent_code"] == 2) & ~lesion["embolized_completely"]
        & s.chance("resected later", 0.25, n)
    )
    soon = 1 + s.code("resection gap", (0.30, 0.22, 0.16, 0.12, 0.08, 0.06, 0.06), n)
    later = np.rint(30 + 60 * s.uniform("later gap", n))
    straight = lesion["sessions"] == 0
    day = last + np.where(early, soon, later)
    day = np.where((early | rest) & ~straight, day, NEVER)
    lesion["resection_day"] = np.where(straight, lesion["first_day"], day)
    # Complete resection: most, less often in higher grades (plausible, no source).
    complete = s.chance("resected completely", logistic(3.3 - 0.45 * (lesion["sm_grade"] - 2)), n)
    imaged = s.chance("imaged", 0.95, n)
    lesion["resected"] = np.isfinite(lesion["resection_day"])
    lesion["resection_complete"] = lesion["resected"] & (
        complete | lesion["embolized_completely"]
    )
    lesion["resection_imaged"] = lesion["resected"] & imaged
    lesion["angiography_day"] = np.where(
        lesion["resection_imaged"],
        lesion["resection_day"] + s.code("angiogram", (0.35, 0.3, 0.1, 0.1, 0.05, 0.05, 0.05), n),
        NEVER,
    )


def draw_radiosurgery(s: Streams, lesion: Columns) -> None:
    """Add the day of radiosurgery (never: inf) and the day from which the nidus is closed."""
    n = len(lesion["patient"])
    planned = (lesion["intent_code"] == 1) & (lesion["sessions"] > 0)
    rest = (
        (lesion["intent_code"] == 2) & ~lesion["embolized_completely"] & ~lesion["resected"]
        & s.chance("radiosurgery", 0.4, n)
    )
    residual = lesion["resected"] & ~lesion["resection_complete"] & s.chance("residual", 0.5, n)
    base = np.where(residual, lesion["resection_day"], lesion["last_session_day"])
    gap = np.rint(45 + 75 * s.uniform("radiosurgery gap", n))
    treated = (planned & s.chance("radiosurgery done", 0.9, n)) | rest | residual
    treated &= ~lesion["embolized_completely"] | residual
    lesion["radiosurgery_day"] = np.where(treated, base + gap, NEVER)
    works = treated & s.chance("radiosurgery works", 0.65, n)
    wait = np.rint(s.lognormal("latency", 850.0, 0.35, n))
    closed = np.where(works, lesion["radiosurgery_day"] + wait, NEVER)
    durable = s.chance("durable", 0.93, n)
    by_agent = lesion["embolized_completely"] & durable
    closed = np.where(by_agent, np.minimum(closed, lesion["last_session_day"]), closed)
    by_knife = lesion["resection_complete"]
    lesion["closed_day"] = np.where(
        by_knife, np.minimum(closed, lesion["resection_day"]), closed
    )
    returns = by_agent & ~by_knife & s.chance("returns", 0.05, n)
    lesion["reopened_day"] = np.where(
        returns, lesion["last_session_day"] + np.rint(250 + 1000 * s.uniform("return", n)), NEVER
    )
    finite = [lesion["last_session_day"]]
    finite += [np.where(np.isfinite(lesion[k]), lesion[k], -np.inf)
               for k in ("resection_day", "radiosurgery_day")]
    lesion["end_day"] = np.maximum.reduce(finite)
