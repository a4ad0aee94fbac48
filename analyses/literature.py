"""Published series: what others counted, with the same intervals as our own numbers.

`published_series.csv` holds counts from published papers with their sources. Each line says what
unit it counts; lines whose counts are not printed in the paper are kept, without an interval.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import pandas as pd

from analyses.estimate import Estimate, replaced
from analyses.proportions import proportion
from analyses.rates import incidence_rate

COLUMNS = (
    "id", "authors", "year", "journal", "identifier", "unit", "measure", "events", "total",
    "agent_group", "as_printed", "seen",
)
PERSON_TIME = "patient-years"


@dataclass(frozen=True)
class PublishedSeries:
    """One line of the table: a paper, what it counted, and that count as an estimate.

    `estimate` has no value where the paper prints no counts; `as_printed` is what it prints.
    """

    id: str
    citation: str
    identifier: str
    unit: str
    measure: str
    agent_group: str
    as_printed: str
    estimate: Estimate


@cache
def published_series() -> tuple[PublishedSeries, ...]:
    """Every line of the table, in its order."""
    text = files("analyses") / "published_series.csv"
    with text.open(encoding="utf-8") as file:
        frame = pd.read_csv(file, dtype="string")
    return tuple(_line(row) for row in frame.itertuples(index=False))


def reported(measures: Iterable[str], units: Iterable[str]) -> list[PublishedSeries]:
    """The published lines whose measure holds one of these words and whose unit is one of these."""
    words, wanted = tuple(measures), set(units)
    return [line for line in published_series()
            if line.unit in wanted and any(word in line.measure for word in words)]


def _line(row: object) -> PublishedSeries:
    values = {name: ("" if pd.isna(value) else str(value))
              for name, value in zip(COLUMNS, row, strict=True)}  # type: ignore[call-overload]
    year = f" {values['year']}" if values["year"] else ""
    return PublishedSeries(
        id=values["id"], citation=f"{values['authors']}{year}, {values['journal']}",
        identifier=values["identifier"], unit=values["unit"], measure=values["measure"],
        agent_group=values["agent_group"], as_printed=values["as_printed"],
        estimate=_estimate(values),
    )


def _estimate(values: dict[str, str]) -> Estimate:
    labels = {"id": f"published.{values['id']}", "unit": values["unit"]}
    if not values["events"] or not values["total"]:
        return Estimate(kind="proportion", value=None, method="not printed",
                        flags=("counts not printed",), **labels)
    events, total = int(values["events"]), int(values["total"])
    if values["unit"] == PERSON_TIME:
        return replaced(incidence_rate(events, float(total)), **labels)
    # The paper's rows may repeat within patients; its counts do not say, so the interval is the
    # exact one and the caption says that it takes rows as independent.
    return proportion(events, total, **labels)
