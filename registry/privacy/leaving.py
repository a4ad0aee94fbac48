"""Ages and dates on the way out."""

from __future__ import annotations

import hashlib
import hmac
from collections.abc import Mapping

import pandas as pd

from registry.schema import TABLES, Patients

# 45 CFR 164.514(b)(2)(i)(C): all ages over 89 are put into one class of 90 or older.
OLDEST = 90
FARTHEST_DAYS = 182


def cap_ages(patients: pd.DataFrame, *, oldest: float = OLDEST) -> pd.DataFrame:
    """A copy of the patients table with ages (years) above `oldest` set to it; blanks stay."""
    capped = patients.copy()
    capped[Patients.age_y] = capped[Patients.age_y].clip(upper=oldest)
    return capped


def shift_of(patient_id: str, key: bytes, *, farthest: int = FARTHEST_DAYS) -> int:
    """The days by which all dates of a patient move: −farthest to +farthest, never 0.

    The same patient and key give the same number of days.
    """
    digest = hmac.new(key, b"dates " + patient_id.encode(), hashlib.sha256).digest()
    step = int.from_bytes(digest[:8], "big") % (2 * farthest)
    return step - farthest if step < farthest else step - farthest + 1


def shift_dates(
    tables: Mapping[str, pd.DataFrame], key: bytes, *, farthest: int = FARTHEST_DAYS
) -> dict[str, pd.DataFrame]:
    """Copies of typed tables with every date of a patient moved by the same number of days.

    Intervals within a patient stay as they are, so rates and times to an event do not change;
    calendar time does, so trends over the years must not be read from such tables. Tables
    without patients are copied as they are.
    """
    return {name: _shifted(name, frame, key, farthest) for name, frame in tables.items()}


def _shifted(name: str, frame: pd.DataFrame, key: bytes, farthest: int) -> pd.DataFrame:
    moved = frame.copy()
    dates = [spec.name for spec in TABLES[name].fields if spec.type == "date"]
    if Patients.patient_id not in frame or frame.empty:
        return moved
    codes = frame[Patients.patient_id].astype(object)
    days = {code: shift_of(str(code), key, farthest=farthest) for code in codes.unique()}
    by = pd.to_timedelta(codes.map(days), unit="D")
    for column in dates:
        moved[column] = moved[column] + by
    return moved
