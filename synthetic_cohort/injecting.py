"""Injections: how each procedure was done, as the suite's record would show it.

The complication model reads its terms from the recorded (rounded) values made here, so that
an analysis of complete tables sees exactly the covariates that drew the events.
"""

from __future__ import annotations

import numpy as np

from registry.schema import Injections, Lesions, Sessions, vocabulary
from synthetic_cohort.anatomy import TERRITORIES
from synthetic_cohort.draws import (
    Columns,
    Streams,
    group_any,
    group_sum,
    logistic,
    take,
    within,
)
from synthetic_cohort.settings import CohortSettings

COPOLYMER, CYANOACRYLATE, COIL = (0, 1, 2), 3, 4
AGENT_WEIGHTS = (0.55, 0.17, 0.10, 0.12, 0.02, 0.04)
CATHETERS = ("flow-directed", "over-the-wire", "dual-lumen balloon")
USUAL_RATE = 0.16       # mL/min; common practice, no source
VENOUS_ROUTE = 0.02


def draw_injections(
    s: Streams, cfg: CohortSettings, lesion: Columns, session: Columns, procedure: Columns
) -> Columns:
    """One row an injection; adds the technique terms to the procedures."""
    injection = _pedicles(s, lesion, session)
    _agents(s, session, injection)
    _volumes(s, lesion, session, injection)
    _delivery(s, session, injection)
    q = len(procedure["patient"])
    injection["procedure"] = session["procedure"][injection["session"]]
    _routes(s, lesion, session, injection)
    _terms(procedure, session, injection, q)
    _reflux(s, cfg, procedure, injection, q)
    _vein(s, procedure, injection, q)
    _catheter(s, lesion, session, injection)
    return injection


def _pedicles(s: Streams, lesion: Columns, session: Columns) -> Columns:
    m = len(session["lesion"])
    feeders = lesion[Lesions.feeding_pedicles][session["lesion"]]
    # 761 pedicles in 295 procedures in Ledezma 2006 (Neurosurgery 58:602); a little fewer here.
    number = np.minimum(1 + s.poisson("pedicles", 1.3, m), feeders)
    session["pedicles"] = np.where(session["aborted"], 0, number)
    of = np.repeat(np.arange(m), session["pedicles"])
    pedicle = within(session["pedicles"])
    again = 1 + s.chance("again", 0.08, len(of))
    injection: Columns = {
        "session": np.repeat(of, again),
        Injections.pedicle_no: np.repeat(pedicle, again),
    }
    injection["second"] = within(again) == 2
    session["injections"] = np.bincount(injection["session"], minlength=m)
    injection[Injections.injection_no] = within(session["injections"])
    return injection


def _agents(s: Streams, session: Columns, injection: Columns) -> None:
    m, k = len(session["lesion"]), len(injection["session"])
    main = s.code("agent", AGENT_WEIGHTS, m)
    coil = injection["second"] & s.chance("coil", 0.4, k)
    code = np.where(coil, COIL, main[injection["session"]])
    injection[Injections.agent] = take(vocabulary.AGENTS, code)
    injection["copolymer"] = code <= 2
    injection["liquid"] = code <= CYANOACRYLATE
    injection["cyanoacrylate"] = code == CYANOACRYLATE


def _volumes(s: Streams, lesion: Columns, session: Columns, injection: Columns) -> None:
    """Agent to 0.01 mL, in step with how much of the nidus the session closed."""
    m, k = len(session["lesion"]), len(injection["session"])
    gained = np.maximum(session["after_pct"] - session["before_pct"], 3) / 100
    fill = 0.42 * lesion["nidus_ml"][session["lesion"]] * gained
    fill = np.minimum(fill * np.exp(0.30 * s.normal("fill", m)), 9.0)
    weight = np.exp(0.35 * s.normal("split", k)) * injection["liquid"]
    share = group_sum(weight, injection["session"], m)[injection["session"]]
    part = fill[injection["session"]] * weight / np.where(share > 0, share, 1)
    volume = np.clip(np.round(part, 2), 0.03, 6.0)
    injection[Injections.agent_ml] = np.where(injection["liquid"], volume, np.nan)


def _delivery(s: Streams, session: Columns, injection: Columns) -> None:
    """Rate, pauses, clock time: copolymers only; cyanoacrylate takes seconds."""
    m, k = len(session["lesion"]), len(injection["session"])
    habit = 0.24 * s.normal("habit", m)
    rate = 0.15 * np.exp(habit[injection["session"]] + 0.18 * s.normal("rate", k))
    push = injection[Injections.agent_ml] / rate
    stops = s.poisson("stops", np.clip(0.9 * np.nan_to_num(push, nan=0.0) ** 0.5, 0, 12), k)
    each = np.clip(s.lognormal("pause", 62.0, 0.35, k), 15, 400)
    pauses = np.rint(stops * each / 5) * 5
    longest = np.minimum(np.rint(each * (1 + 0.25 * s.uniform("longest", k)) / 5) * 5, pauses)
    clock = np.maximum(np.round(push + pauses / 60, 1), np.round(pauses / 60 + 0.15, 1))
    slow = injection["copolymer"]
    injection[Injections.reflux_stops] = np.where(slow, stops, np.nan)
    injection[Injections.pauses_s] = np.where(slow, pauses, np.nan)
    injection[Injections.longest_pause_s] = np.where(slow, longest, np.nan)
    injection[Injections.injection_min] = np.where(slow, clock, np.nan)
    injection["rate"] = np.where(
        slow,
        injection[Injections.agent_ml] / (injection[Injections.injection_min] - pauses / 60),
        np.nan,
    )
    mixed = np.rint(s.lognormal("mixing", 23.0, 0.14, m))
    any_slow = group_any(slow, injection["session"], m)
    session[Sessions.agent_mixing_min] = np.where(any_slow, mixed, np.nan)


def _terms(procedure: Columns, session: Columns, injection: Columns, q: int) -> None:
    """Pedicles and rate of each procedure, as `registry.clinical.technique` works them out.

    Pedicles are arterial and distinct; the rate is all the copolymer over all the time of
    pushing (the usual rate where there was none).
    """
    once = ~injection["second"] & (injection[Injections.access] != "vein")
    procedure["pedicles"] = group_sum(once, injection["procedure"], q)
    slow = injection["copolymer"]
    push = injection[Injections.injection_min] - injection[Injections.pauses_s] / 60
    volume = group_sum(
        np.where(slow, injection[Injections.agent_ml], 0.0), injection["procedure"], q
    )
    time = group_sum(np.where(slow, push, 0.0), injection["procedure"], q)
    procedure["copolymer"] = time > 0
    rate = volume / np.where(time > 0, time, 1.0)
    procedure["mean_rate"] = np.where(time > 0, rate, USUAL_RATE)


def _reflux(
    s: Streams, cfg: CohortSettings, procedure: Columns, injection: Columns, q: int
) -> None:
    """Reflux past the agreed limit: more at a faster rate; in one injection of the procedure."""
    k = len(injection["session"])
    share = min(max(cfg.reflux_share, 1e-9), 1 - 1e-9)
    linear = np.log(share / (1 - share)) + 0.6 * (procedure["mean_rate"] - USUAL_RATE) / 0.1
    past = s.chance("reflux past", logistic(linear), q) & procedure["copolymer"]
    procedure["reflux_past"] = past
    limit = take((10, 15, 20, 25, 30), s.code("limit", (0.1, 0.25, 0.3, 0.2, 0.15), k))
    limit = limit.astype(float)
    below = np.rint(limit * np.minimum(0.15 + 0.85 * s.uniform("reflux", k), 1.0))
    above = limit + 1 + np.rint(s.exponential("reflux over", 1 / 5.0, k))
    # Nobody pushes on without a stop while the agent runs far past the limit.
    unstopped = injection[Injections.reflux_stops] == 0
    above = np.where(unstopped, np.minimum(above, limit + 9), above)
    slow = np.flatnonzero(injection["copolymer"])
    _, where = np.unique(injection["procedure"][slow], return_index=True)
    chosen = np.zeros(k, dtype=bool)
    chosen[slow[where]] = True
    reflux = np.where(chosen & past[injection["procedure"]], above, below)
    injection[Injections.reflux_mm] = np.where(injection["copolymer"], reflux, np.nan)
    injection[Injections.reflux_limit_mm] = np.where(injection["copolymer"], limit, np.nan)


def _vein(s: Streams, procedure: Columns, injection: Columns, q: int) -> None:
    k = len(injection["session"])
    rate = np.nan_to_num(injection["rate"], nan=USUAL_RATE)
    part = s.uniform("venous passage", k) < logistic(-2.3 + 0.5 * (rate - USUAL_RATE) / 0.1)
    part &= injection["liquid"]
    blocks = part & s.chance("blocks", 0.12, k)
    code = np.where(blocks, 2, part.astype(int))
    injection[Injections.venous_passage] = take(("none", "part", "blocks outflow"), code)
    injection[Injections.venous_passage][~injection["liquid"]] = None
    # Through a vein it is meant to be closed; where agent came into one through an artery, not.
    vein, said = injection[Injections.access] == "vein", part & s.chance("closure stated", 0.85, k)
    injection[Injections.venous_occlusion_intended] = np.where(
        vein, True, np.where(said, False, None)
    )
    procedure["venous"] = group_any(part, injection["procedure"], q)
    lost = s.chance("view lost", 0.02, k) & injection["liquid"]
    stuck = s.chance("resistance", 0.025, k) & injection["liquid"]
    halted = ((lost | stuck) & s.chance("halted", 0.88, k)) | s.chance("halted else", 0.01, k)
    for name, flag in (
        (Injections.view_lost, lost),
        (Injections.resistance_felt, stuck),
        (Injections.delivery_halted, halted),
    ):
        injection[name] = np.where(injection["liquid"], flag, None)


def _routes(s: Streams, lesion: Columns, session: Columns, injection: Columns) -> None:
    """The transvenous route: rare, small nidi, the first session."""
    m, of = len(session["lesion"]), injection["session"]
    small = lesion["nidus_ml"][session["lesion"]] < 12
    venous = s.chance("venous route", VENOUS_ROUTE, m) & small & (session[Sessions.session_no] == 1)
    both = venous & s.chance("both routes", 0.5, m) & (session["pedicles"] >= 2)
    session[Sessions.route] = take(
        ("arterial", "venous", "both"), np.where(both, 2, venous.astype(int))
    )
    last_pedicle = injection[Injections.pedicle_no] == session["pedicles"][of]
    vein = (venous & ~both)[of] | (both[of] & last_pedicle)
    injection[Injections.access] = np.where(vein, "vein", "artery").astype(object)


def _catheter(s: Streams, lesion: Columns, session: Columns, injection: Columns) -> None:
    m, k = len(session["lesion"]), len(injection["session"])
    of = injection["session"]
    vein = injection[Injections.access] == "vein"
    injection[Injections.catheter_no] = injection[Injections.pedicle_no]
    site = lesion[Lesions.location][session["lesion"]][of]
    _feeder(s, session, injection, site, vein)
    kind = s.code("catheter", (0.72, 0.14, 0.14), m)[of]
    injection[Injections.catheter_type] = take(CATHETERS, kind)
    slow = injection["copolymer"]
    injection[Injections.detachable_tip] = (kind == 0) & s.chance("detachable", 0.55, m)[of]
    dead = np.array([0.23, 0.29, 0.35])[kind]
    over = np.where(s.chance("short of dmso", 0.04, k), -0.03, 0.05 * s.uniform("dmso", k))
    injection[Injections.dead_space_ml] = np.where(slow, dead, np.nan)
    injection[Injections.dmso_ml] = np.where(slow, np.round(dead + over, 2), np.nan)
    mix = take((20, 25, 33, 50), s.code("mix", (0.25, 0.35, 0.25, 0.15), k)).astype(float)
    injection[Injections.cyanoacrylate_pct] = np.where(injection["cyanoacrylate"], mix, np.nan)
    how = s.code("retrieval", (0.93, 0.07), k)
    how = np.where(injection[Injections.detachable_tip] & s.chance("detached", 0.25, k), 2, how)
    injection[Injections.retrieval] = take(
        ("free", "long traction", "tip detached as designed", "part retained"), how
    )
    # Once a catheter: the last injection through it carries the word.
    more = np.r_[injection["second"][1:], False] if k else injection["second"]
    injection[Injections.retrieval][more] = None


def _feeder(
    s: Streams, session: Columns, injection: Columns, site: np.ndarray, vein: np.ndarray
) -> None:
    k = len(site)
    pair = np.array([TERRITORIES[name] for name in vocabulary.LOCATIONS], dtype=object)
    place = {name: i for i, name in enumerate(vocabulary.LOCATIONS)}
    at = np.fromiter((place[name] for name in site), dtype=np.int64, count=k)
    which = s.code("feeder", (0.62, 0.38), k)
    artery = pair[at, which] if k else np.empty(0, dtype=object)
    artery[vein] = None
    injection[Injections.feeding_artery] = artery
    injection[Injections.feeder_type] = s.pick(
        "feeder type", ("terminal", "en passage", "perforator", "collateral"),
        (0.66, 0.20, 0.08, 0.06), k,
    )
