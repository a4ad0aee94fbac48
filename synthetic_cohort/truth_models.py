"""What the analysis plan's default technique models tend to, from a large sample.

Each model has one technique variable and is adjusted for grade, ruptured and case number; the
others of the complication model are left out, so its odds ratio is not the one that made the
data. Its limit is worked out by fitting the same logistic model to the large sample.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from registry.schema import Injections
from synthetic_cohort.draws import Array, group_any, group_sum, logistic
from synthetic_cohort.simulate import Simulation

TECHNIQUE = (
    "pedicles_treated",
    Injections.agent_ml,
    "agent_per_nidus",
    "rate_ml_min",
    Injections.longest_pause_s,
    "evoh_8",
    "reflux_past_limit",
    Injections.venous_passage,
)


@dataclass(frozen=True)
class Rows:
    """Procedures of the large sample: one entry a procedure in every array."""

    patient: Array
    complicated: Array
    sm_grade: Array
    ruptured: Array
    case_number: Array
    pedicles_treated: Array
    agent_ml: Array
    agent_per_nidus: Array
    rate_ml_min: Array
    longest_pause_s: Array
    evoh_8: Array
    reflux_past_limit: Array
    venous_passage: Array

    @classmethod
    def joined(cls, parts: list[Rows]) -> Rows:
        """The rows of several blocks, patients kept apart."""
        joined, shift = {f.name: [] for f in fields(cls)}, 0.0
        for part in parts:
            for f in fields(cls):
                values = getattr(part, f.name)
                joined[f.name].append(values + shift if f.name == "patient" else values)
            shift += part.patient.max(initial=-1.0) + 1
        return cls(**{name: np.concatenate(values) for name, values in joined.items()})

    def pair_correlation(self) -> float:
        """Correlation of the outcome between two procedures of one patient, drawn at random."""
        who = self.patient.astype(np.int64)
        size, hits = np.bincount(who).astype(float), np.bincount(who, weights=self.complicated)
        pairs = (size * (size - 1)).sum()
        both = (hits * (hits - 1)).sum() / pairs
        one = (hits * (size - 1)).sum() / pairs
        return float((both - one**2) / (one * (1 - one)))


def procedure_rows(sim: Simulation) -> Rows:
    """The procedures of one observed simulation, the technique as `registry` works it out."""
    procedure, injection = sim.procedure, sim.injection
    q = len(procedure["patient"])
    by, liquid = injection["procedure"], injection["liquid"]
    slow, glue = injection["copolymer"], injection["cyanoacrylate"]
    some = group_any(liquid, by, q)
    volume = group_sum(np.where(liquid, injection[Injections.agent_ml], 0.0), by, q)
    # A rate wants the push time of every liquid injection; cyanoacrylate has none.
    timed = group_any(slow, by, q) & ~group_any(glue, by, q)
    longest = np.zeros(q)
    np.maximum.at(longest, by[slow], injection[Injections.longest_pause_s][slow])
    nidus = group_sum(sim.lesion["nidus_ml"][sim.session["lesion"]], sim.session["procedure"], q)
    six = group_any(injection[Injections.agent] == "EVOH 6 %", by, q)
    eight = group_any(injection[Injections.agent] == "EVOH 8 %", by, q)
    happened = np.bincount(sim.complication["procedure"], minlength=q) > 0
    return Rows(
        patient=procedure["patient"].astype(float), complicated=happened.astype(float),
        sm_grade=procedure["sm_grade"].astype(float),
        ruptured=procedure["ruptured"].astype(float),
        case_number=procedure["case_number"].astype(float),
        pedicles_treated=procedure["pedicles"].astype(float),
        agent_ml=volume, agent_per_nidus=volume / nidus,
        rate_ml_min=np.where(timed, procedure["mean_rate"], np.nan),
        longest_pause_s=np.where(timed, longest, np.nan),
        evoh_8=np.where(six ^ eight, eight.astype(float), np.nan),
        reflux_past_limit=np.where(timed, procedure["reflux_past"], np.nan),
        venous_passage=np.where(some, procedure["venous"], np.nan),
    )


def adjusted_odds_ratios(rows: Rows) -> dict[str, float]:
    """Odds ratio of each technique variable (a unit of it; rate: 1 mL/min) in its own model."""
    return {name: float(np.exp(_fit(rows, name))) for name in TECHNIQUE}


def _fit(rows: Rows, name: str) -> float:
    value = getattr(rows, name)
    there = np.isfinite(value)
    design = np.column_stack([
        np.ones(there.sum()), value[there], rows.sm_grade[there], rows.ruptured[there],
        rows.case_number[there],
    ])
    return float(logistic_fit(design, rows.complicated[there])[1])


def logistic_fit(design: Array, outcome: Array) -> Array:
    """Maximum-likelihood log-odds by Newton's method (rows × terms, 0/1)."""
    scale = np.maximum(np.abs(design).max(axis=0), 1e-12)
    scaled = design / scale
    beta = np.zeros(design.shape[1])
    for _ in range(50):
        fitted = logistic(scaled @ beta)
        weight = fitted * (1 - fitted)
        step = np.linalg.solve(scaled.T @ (scaled * weight[:, None]),
                               scaled.T @ (outcome - fitted))
        beta = beta + step
        if np.abs(step).max() < 1e-9:
            break
    return beta / scale
