"""Tries of the fictional service to reach patients whom it has not seen for long."""

from __future__ import annotations

import numpy as np
import pandas as pd

from registry.schema import (
    TABLES,
    Contacts,
    FollowUps,
    Patients,
    Radiosurgeries,
    Resections,
    Sessions,
)
from synthetic_cohort.cohort import Cohort
from synthetic_cohort.draws import Streams
from synthetic_cohort.typed_columns import to_dates

UNSEEN_FOR = pd.DateOffset(months=30)
"""Patients not seen for so long are called; a service's own rule may be another."""
BETWEEN = pd.Timedelta(days=45)
MOST_TRIES = 4
HOW = ("telephone", "letter", "telephone", "through another doctor")
ENDS, ENDS_WEIGHT = ("no answer", "moved", "lost"), (0.6, 0.15, 0.25)
"""How the last try ended. None was answered: whoever answers comes for a visit, a follow-up."""
DAYS = {"follow_ups": FollowUps.follow_up_date, "sessions": Sessions.session_date,
        "resections": Resections.resection_date,
        "radiosurgeries": Radiosurgeries.radiosurgery_date}


def contacts_tables(cohort: Cohort) -> dict[str, pd.DataFrame]:
    """The typed table of contacts; no table where everybody was seen lately.

    Drawn from a stream of its own, and no try is answered: no other number of the service moves.
    """
    from synthetic_cohort.course import LOCK

    end = pd.Timestamp(to_dates(np.array([float(LOCK)]))[0])
    people = _long_unseen(cohort.tables, end)
    streams = Streams(cohort.seed)
    tries = 1 + streams.code("contact tries", (1.0, 1.0, 2.0, 2.0), len(people))
    last = streams.code("contact end", ENDS_WEIGHT, len(people))
    rows = [
        {Contacts.patient_id: code, Contacts.try_no: number,
         Contacts.contact_date: end - BETWEEN * (MOST_TRIES - number + 1),
         Contacts.how: HOW[number - 1],
         Contacts.result: ENDS[int(how)] if number == many else ENDS[0]}
        for code, many, how in zip(people, tries, last, strict=True)
        for number in range(1, int(many) + 1)]
    return {"contacts": TABLES["contacts"].typed(pd.DataFrame(rows))} if rows else {}


def _long_unseen(tables: dict[str, pd.DataFrame], end: pd.Timestamp) -> list[str]:
    """The living, treated patients without a visit or a treatment since long before the end."""
    seen = pd.concat([tables[name][[Patients.patient_id]].assign(day=tables[name][field])
                      for name, field in DAYS.items()])
    last = seen.groupby(Patients.patient_id)["day"].max()
    people = tables["patients"]
    living = people.loc[people[Patients.death_date].isna(), Patients.patient_id]
    return [str(code) for code in living if last.get(code, end) < end - UNSEEN_FOR]
