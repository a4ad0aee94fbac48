"""Haemorrhage, death and loss to follow-up: what ends or interrupts the planned course.

Bleeds come at constant rates: untreated between presentation and first treatment, another rate
from first treatment until obliteration is confirmed, another after it. The rate changes on the
day of confirmation, so that the rates of the settings are those of the observed periods.
"""

from __future__ import annotations

import numpy as np

from registry.schema import Lesions, Patients
from synthetic_cohort.course import LOCK, NEVER
from synthetic_cohort.draws import Columns, Streams
from synthetic_cohort.settings import CohortSettings

YEAR = 365.25
FATAL_BLEED = 0.15      # deaths of spontaneous bleeds; plausible, no source
MAX_BLEEDS = 5
SAME_BLEED_DAYS = 7     # a bleed so soon after another of the lesion is the same one


def draw_presentation(s: Streams, cfg: CohortSettings, patient: Columns, lesion: Columns) -> None:
    """Add the day of presentation, and who is ruptured at first treatment."""
    n = len(patient[Patients.age_y])
    bled = patient["ruptured_at_presentation"]
    median = np.where(bled, 28.0, 110.0)
    wait = np.clip(np.rint(s.lognormal("wait", median, 0.85, n)), 1, 1500)
    patient["presentation_day"] = patient["first_day"] - wait
    yearly = np.where(bled, cfg.bleed_before_ruptured, cfg.bleed_before_unruptured) / 100
    when = np.ceil(s.exponential("bleed before", yearly, n) * YEAR)
    # Treatment then follows soon; a bleed on the day of treatment would be its complication.
    between = (when < wait) & ~(bled & (when <= SAME_BLEED_DAYS))
    patient["early_bleed_day"] = np.where(between, patient["presentation_day"] + when, NEVER)
    patient["ruptured"] = bled | between
    first = lesion[Lesions.lesion_no] == 1
    lesion[Lesions.haemorrhage_before] = first & patient["ruptured"][lesion["patient"]]


def draw_bleeds(s: Streams, cfg: CohortSettings, patient: Columns, lesion: Columns) -> Columns:
    """Spontaneous bleeds from the first treatment on (a row a bleed), before death is known.

    Adds `confirmed_day` to the patients: the day on which all their lesions are confirmed.
    """
    n = len(patient[Patients.age_y])
    confirmed = np.full(n, -np.inf)
    np.maximum.at(confirmed, lesion["patient"], lesion["confirmed_day"])
    patient["confirmed_day"] = confirmed
    under = _process(s, "bleed under", cfg.bleed_under, patient["first_day"], confirmed)
    after = _process(s, "bleed after", cfg.bleed_after, confirmed, np.full(n, NEVER))
    owner = np.concatenate([under[0], after[0]])
    day = np.concatenate([under[1], after[1]])
    order = np.lexsort((day, owner))
    bleed: Columns = {"patient": owner[order], "day": day[order]}
    m = len(order)
    bleed["fatal"] = s.chance("fatal bleed", FATAL_BLEED, m)
    bleed["permanent"] = s.chance("bleed deficit", 0.3, m) & ~bleed["fatal"]
    bleed["transient"] = s.chance("bleed transient", 0.4, m) & ~bleed["permanent"]
    bleed["worse"] = 1 + s.code("bleed worse", (0.6, 0.4), m)
    bleed["death_day"] = np.where(
        bleed["fatal"], bleed["day"] + s.code("bleed death", (0.4, 0.2, 0.1, 0.1, 0.1, 0.1), m),
        NEVER,
    )
    bleed["lesion"] = _bleeding_lesion(s, patient, lesion, bleed)
    return bleed


def _process(
    s: Streams, name: str, rate: float, start: np.ndarray, stop: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Owners and days of a Poisson process of `rate` a 100 years, from `start` to `stop`."""
    n = len(start)
    gaps = s.exponential(name, rate / 100 / YEAR, n * MAX_BLEEDS).reshape(n, MAX_BLEEDS)
    finite = np.where(np.isfinite(start), start, 0.0)
    day = np.ceil(finite[:, None] + np.cumsum(gaps, axis=1))
    keep = (day < stop[:, None]) & np.isfinite(start)[:, None] & (day <= 3 * LOCK)
    keep[:, 1:] &= np.diff(day, axis=1) > SAME_BLEED_DAYS
    owner, slot = np.nonzero(keep)
    return owner, day[owner, slot]


def _bleeding_lesion(
    s: Streams, patient: Columns, lesion: Columns, bleed: Columns
) -> np.ndarray:
    """The first lesion still open (the first one where none is)."""
    n = len(patient[Patients.age_y])
    first = np.searchsorted(lesion["patient"], np.arange(n))[bleed["patient"]]
    count = np.bincount(lesion["patient"], minlength=n)[bleed["patient"]]
    second = np.minimum(first + 1, len(lesion["patient"]) - 1)
    open_first = lesion["confirmed_day"][first] > bleed["day"]
    return np.where((count == 2) & ~open_first, second, first)


def draw_other_deaths(s: Streams, patient: Columns, bleed: Columns) -> None:
    """Add the day and cause of death from bleeds and from other causes (never: inf)."""
    n = len(patient[Patients.age_y])
    yearly = 0.002 * np.exp(0.06 * (patient[Patients.age_y] - 40))
    other = patient["first_day"] + 1 + np.floor(s.exponential("other death", yearly, n) * YEAR)
    lesion = np.full(n, NEVER)
    np.minimum.at(lesion, bleed["patient"], bleed["death_day"])
    patient["death_day"] = np.minimum(lesion, other)
    patient[Patients.death_cause] = np.where(lesion <= other, "lesion", "other").astype(object)


def draw_loss(s: Streams, cfg: CohortSettings, patient: Columns) -> None:
    """Add the day from which a patient is no longer seen; known covariates may hasten it."""
    n = len(patient[Patients.age_y])
    hazard = cfg.loss_per_year * np.exp(
        cfg.loss_log_hazard_young * (patient[Patients.age_y] < 30)
        + cfg.loss_log_hazard_unruptured * ~patient["ruptured"]
    )
    wait = np.floor(s.exponential("loss", hazard, n) * YEAR)
    patient["lost_day"] = patient["end_day"] + 31 + wait
