"""Follow-up due and overdue, as a list that a coordinator can work from.

The default schedule is common practice, no source, and replaceable: catheter angiography within
7 days of a resection, at 6 months and at 3 years; a clinic visit at 3 months and every year.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd

ANGIOGRAPHY = "catheter angiography"
ORDER = {"overdue": 0, "due": 1, "planned": 2, "missed": 3, "done": 4}
LIST_COLUMNS = ["patient_id", "lesion_no", "what", "due", "until", "state", "days_over", "done_on"]


@dataclass(frozen=True)
class Visit:
    """One item of the schedule.

    what: in the coordinator's words; after: "treatment" or "resection"; days: from then to the
    due day; early, late: how many days before and after the due day still count; imaging: kinds
    of imaging that satisfy it, none for any visit.
    """

    what: str
    after: str
    days: int
    early: int
    late: int
    imaging: tuple[str, ...] = ()


def default_schedule(years: int = 5) -> tuple[Visit, ...]:
    """The default schedule with yearly clinic visits up to `years` after treatment."""
    fixed = (
        Visit("catheter angiography after resection", "resection", 7, 7, 0, (ANGIOGRAPHY,)),
        Visit("clinic at 3 months", "treatment", 91, 30, 45),
        Visit("catheter angiography at 6 months", "treatment", 183, 60, 90, (ANGIOGRAPHY,)),
        Visit("catheter angiography at 3 years", "treatment", 1096, 183, 183, (ANGIOGRAPHY,)),
    )
    yearly = tuple(
        Visit(f"clinic at {n} year{'s' if n > 1 else ''}", "treatment", round(365.25 * n), 120, 120)
        for n in range(1, years + 1)
    )
    return fixed + yearly


def follow_up_due(
    lesions: pd.DataFrame,
    visits: pd.DataFrame,
    *,
    today: Any,
    schedule: Sequence[Visit] | None = None,
    horizon_days: int = 60,
) -> pd.DataFrame:
    """What is due, overdue and done for each lesion, up to `horizon_days` ahead.

    lesions: one row a lesion: patient_id, lesion_no, last_treatment_date, and, where there were
    any, resection_date, death_date, plan_status ("ongoing" lesions are not yet due for visits
    after treatment). visits: patient_id, lesion_no, follow_up_date, imaging (angiograms after a
    resection among them). State: "overdue" (past its last day), "due" (window open), "planned"
    (ahead), "missed" (the next one of its kind is due by now) and "done". The dead are not called
    after their death. Overdue first, then by the day. Raises ValueError naming missing columns.
    """
    import pandas as pd

    _need(lesions, ("patient_id", "lesion_no", "last_treatment_date"), "lesions")
    _need(visits, ("patient_id", "lesion_no", "follow_up_date", "imaging"), "visits")
    plan = tuple(schedule) if schedule is not None else default_schedule()
    day = pd.Timestamp(today).normalize()
    seen = visits.assign(when=pd.to_datetime(visits["follow_up_date"])).dropna(subset=["when"])
    by_lesion = {key: part for key, part in seen.groupby(["patient_id", "lesion_no"], sort=False)}
    empty = seen.iloc[0:0]
    rows = []
    for lesion in lesions.to_dict("records"):
        own = by_lesion.get((lesion["patient_id"], lesion["lesion_no"]), empty)
        rows += _lines(lesion, own, plan, day, horizon_days)
    table = pd.DataFrame(rows, columns=LIST_COLUMNS)
    keys = ["rank", "until", "patient_id", "lesion_no", "what"]
    return table.assign(rank=table["state"].map(ORDER)).sort_values(keys, ignore_index=True)[
        LIST_COLUMNS
    ]


def _lines(
    lesion: dict[str, Any], own: pd.DataFrame, plan: Sequence[Visit], day: pd.Timestamp,
    horizon: int,
) -> list[dict[str, Any]]:
    """The lines of one lesion. A visit counts from its window's opening until the next item of
    the same kind opens, so that a late one counts, and none counts twice."""
    import pandas as pd

    dated: dict[tuple[str, tuple[str, ...]], list[_Window]] = {}
    for item in plan:
        anchor = _anchor(lesion, item)
        if anchor is not None:
            window = _Window.of(item, anchor)
            dated.setdefault((item.after, item.imaging), []).append(window)
    death, rows = pd.to_datetime(lesion.get("death_date")), []
    for windows in dated.values():
        windows.sort(key=lambda window: window.due)
        closes = [window.opens for window in windows[1:]] + [pd.Timestamp.max]
        for window, close in zip(windows, closes, strict=True):
            done = window.first_visit(own, close)
            dead = pd.notna(death) and death <= window.until
            ahead = window.opens > day + pd.Timedelta(days=horizon)
            if done is not None or not (dead or ahead):
                rows.append(_line(lesion, window, done, close, day))
    return rows


@dataclass(frozen=True)
class _Window:
    item: Visit
    opens: pd.Timestamp
    due: pd.Timestamp
    until: pd.Timestamp

    @classmethod
    def of(cls, item: Visit, anchor: pd.Timestamp) -> _Window:
        import pandas as pd

        due = anchor + pd.Timedelta(days=item.days)
        return cls(item, due - pd.Timedelta(days=item.early), due,
                   due + pd.Timedelta(days=item.late))

    def first_visit(self, own: pd.DataFrame, close: pd.Timestamp) -> pd.Timestamp | None:
        fits = own[(own["when"] >= self.opens) & (own["when"] < close)]
        if self.item.imaging:
            fits = fits[fits["imaging"].isin(self.item.imaging)]
        return None if fits.empty else fits["when"].min()


def _line(
    lesion: dict[str, Any], window: _Window, done: pd.Timestamp | None, close: pd.Timestamp,
    day: pd.Timestamp,
) -> dict[str, Any]:
    state = _state(window, done, close, day)
    return {"patient_id": lesion["patient_id"], "lesion_no": lesion["lesion_no"],
            "what": window.item.what, "due": window.due.date(), "until": window.until.date(),
            "state": state, "days_over": (day - window.until).days if state == "overdue" else 0,
            "done_on": None if done is None else done.date()}


def _state(
    window: _Window, done: pd.Timestamp | None, close: pd.Timestamp, day: pd.Timestamp
) -> str:
    if done is not None:
        return "done"
    if day >= close:
        return "missed"
    if day > window.until:
        return "overdue"
    return "due" if day >= window.opens else "planned"


def _anchor(lesion: dict[str, Any], item: Visit) -> pd.Timestamp | None:
    import pandas as pd

    if item.after == "resection":
        found = pd.to_datetime(lesion.get("resection_date"))
    elif lesion.get("plan_status") == "ongoing":
        return None
    else:
        found = pd.to_datetime(lesion["last_treatment_date"])
    return None if pd.isna(found) else found.normalize()


def _need(frame: pd.DataFrame, columns: Sequence[str], name: str) -> None:
    missing = [column for column in columns if column not in frame.columns]
    if missing:
        raise ValueError(f"{name}: no column {', '.join(missing)}")
