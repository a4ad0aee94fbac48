"""Follow-up due and overdue, as a list that a coordinator can work from.

The schedule is the service's own or the package's (`registry.quality.follow_up_schedule`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from registry.quality.follow_up_schedule import Schedule, Visit, default_schedule
from registry.schema import (
    FollowUps,
    Lesions,
    Patients,
    Radiosurgeries,
    Resections,
    Sessions,
)

if TYPE_CHECKING:
    import pandas as pd

ANGIOGRAPHY = "catheter angiography"
ORDER = {"overdue": 0, "due": 1, "planned": 2, "missed": 3, "done": 4}
LIST_COLUMNS = [
    Patients.patient_id,
    Lesions.lesion_no,
    "what",
    "due",
    "until",
    "state",
    "days_over",
    "done_on",
]


TREATMENTS = {
    "sessions": Sessions.session_date,
    "resections": Resections.resection_date,
    "radiosurgeries": Radiosurgeries.radiosurgery_date,
}
LESION = [Patients.patient_id, Lesions.lesion_no]


def follow_up_of(
    tables: Mapping[str, pd.DataFrame], *, today: Any, schedule: Schedule | None = None,
    horizon_days: int = 60,
) -> pd.DataFrame:
    """What is due, overdue and done for every treated lesion of the registry's tables.

    Days after treatment count from the last session, resection or radiosurgery of the lesion;
    an angiogram after a resection counts as one of its visits. See `follow_up_due`.
    """
    import pandas as pd

    operations, visits = tables["resections"], tables["follow_ups"]
    # The same type even without rows: pandas joins columns of different types by guessing.
    angiograms = operations[LESION].assign(
        follow_up_date=operations[Resections.angiography_date],
        imaging=pd.Series(
            ANGIOGRAPHY, index=operations.index, dtype=visits[FollowUps.imaging].dtype
        ),
    )
    seen = pd.concat([visits[[*LESION, FollowUps.follow_up_date, FollowUps.imaging]], angiograms])
    return follow_up_due(
        _treated_lesions(tables), seen, today=today, horizon_days=horizon_days,
        schedule=(schedule or default_schedule()).visits,
    )


def _treated_lesions(tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """One row a treated lesion, as `follow_up_due` wants it."""
    import pandas as pd

    treated = pd.concat([
        tables[table][LESION].assign(last_treatment_date=tables[table][field])
        for table, field in TREATMENTS.items()
    ])
    last = treated.groupby(LESION)["last_treatment_date"].max().reset_index()
    operated = tables["resections"].groupby(LESION)[Resections.resection_date].max().reset_index()
    plans = tables["lesions"][[*LESION, Lesions.plan_status]]
    deaths = tables["patients"][[Patients.patient_id, Patients.death_date]]
    return (
        last.merge(operated, on=LESION, how="left").merge(plans, on=LESION, how="left")
        .merge(deaths, on=Patients.patient_id, how="left").convert_dtypes(convert_floating=False)
    )


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

    _need(lesions, (*LESION, "last_treatment_date"), "lesions")
    _need(visits, (*LESION, FollowUps.follow_up_date, FollowUps.imaging), "visits")
    plan = tuple(schedule) if schedule is not None else default_schedule().visits
    day = pd.Timestamp(today).normalize()
    windows = _windows(lesions, plan)
    windows["done_on"] = _first_visits(windows, visits, plan)
    windows["state"] = _states(windows, day)
    dead = windows["death"].notna() & (windows["death"] <= windows["until"])
    ahead = windows["opens"] > day + pd.Timedelta(days=horizon_days)
    table = windows[windows["done_on"].notna() | ~(dead | ahead)].copy()
    late = (day - table["until"]).dt.days
    table["days_over"] = late.where(table["state"] == "overdue", 0)
    table["rank"] = table["state"].map(ORDER)
    for name in ("due", "until", "done_on"):
        table[name] = table[name].dt.date.where(table[name].notna(), None)
    keys = ["rank", "until", *LESION, "what"]
    return table.sort_values(keys, ignore_index=True)[LIST_COLUMNS]


def _windows(lesions: pd.DataFrame, plan: Sequence[Visit]) -> pd.DataFrame:
    """One row a lesion and item: item, what, opens, due, until, death, and when it closes.

    A visit counts from its window's opening until the next item of the same kind opens, so
    that a late one counts, and none counts twice.
    """
    import pandas as pd

    deaths = pd.Series(pd.NaT, index=lesions.index, dtype="datetime64[ns]")
    if Patients.death_date in lesions:
        deaths = pd.to_datetime(lesions[Patients.death_date])
    parts = []
    for number, item in enumerate(plan):
        due = _anchors(lesions, item) + pd.Timedelta(days=item.days)
        parts.append(lesions[LESION].assign(
            item=number, what=item.what, kind=f"{item.after} {item.imaging}", due=due,
            opens=due - pd.Timedelta(days=item.early), until=due + pd.Timedelta(days=item.late),
            death=deaths,
        ))
    windows = pd.concat(parts).dropna(subset=["due"])
    windows = windows.sort_values([*LESION, "kind", "due", "item"], ignore_index=True)
    next_opens = windows.groupby([*LESION, "kind"], sort=False)["opens"].shift(-1)
    return windows.assign(closes=next_opens.fillna(pd.Timestamp.max.normalize()))


def _anchors(lesions: pd.DataFrame, item: Visit) -> pd.Series:
    """The day each lesion's item counts from; blank where it does not apply (yet)."""
    import pandas as pd

    blank = pd.Series(pd.NaT, index=lesions.index, dtype="datetime64[ns]")
    if item.after == "resection":
        name = Resections.resection_date
        return pd.to_datetime(lesions[name]).dt.normalize() if name in lesions else blank
    days = pd.to_datetime(lesions["last_treatment_date"]).dt.normalize()
    if Lesions.plan_status not in lesions:
        return days
    return days.where(lesions[Lesions.plan_status].fillna("ended") != "ongoing", blank)


def _first_visits(
    windows: pd.DataFrame, visits: pd.DataFrame, plan: Sequence[Visit],
) -> pd.Series:
    """The first visit that satisfies each window, on the windows' index; blank for none."""
    import pandas as pd

    seen = visits[[*LESION, FollowUps.imaging]].assign(
        when=pd.to_datetime(visits[FollowUps.follow_up_date])
    )
    pairs = windows.reset_index(names="window").merge(seen, on=LESION)
    fits = (pairs["when"] >= pairs["opens"]) & (pairs["when"] < pairs["closes"])
    for number, item in enumerate(plan):
        if item.imaging:
            fits &= (pairs["item"] != number) | pairs[FollowUps.imaging].isin(item.imaging)
    first = pairs[fits].groupby("window")["when"].min()
    return first.reindex(windows.index)


def _states(windows: pd.DataFrame, day: pd.Timestamp) -> pd.Series:
    import numpy as np
    import pandas as pd

    states = np.select(
        [windows["done_on"].notna(), windows["closes"] <= day, windows["until"] < day,
         windows["opens"] <= day],
        ["done", "missed", "overdue", "due"], default="planned",
    )
    return pd.Series(states, index=windows.index)


def _need(frame: pd.DataFrame, columns: Sequence[str], name: str) -> None:
    missing = [column for column in columns if column not in frame.columns]
    if missing:
        raise ValueError(f"{name}: no column {', '.join(missing)}")
