"""Published series: what others counted, with the same intervals as our own numbers.

`published_series.csv` holds counts from published papers with their sources; a service may read a
table of its own in the same form (`read_series`). Each line says what unit it counts; lines whose
counts are not printed in the paper are kept, without an interval.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path

import pandas as pd

from analyses.literature.table_checks import (
    COHORT,
    COLUMNS,
    PERSON_TIME,
    SUBGROUP,
    SeriesError,
    problems_of,
)
from analyses.statistics.estimate import Estimate
from analyses.statistics.proportions.independent import proportion
from analyses.statistics.rates.rates import incidence_rate


@dataclass(frozen=True)
class PublishedSeries:
    """One line of the table: a paper, what it counted, and that count as an estimate.

    source: authors, year and journal. code: what it counts (see `codes`). subgroup: the part of
    the paper's patients (grade, period) where it is entered split, else empty. `estimate` has no
    value where the paper prints no counts; `as_printed` is what it prints.
    `cohort`: lines with the same one count some of the same patients (the paper itself, or one
    hospital in overlapping years).
    """

    id: str
    authors: str
    year: int
    journal: str
    identifier: str
    unit: str
    code: str
    subgroup: str
    agent_group: str
    as_printed: str
    estimate: Estimate
    cohort: str = ""

    @property
    def name(self) -> str:
        """Authors and year."""
        return f"{self.authors} {self.year}"

    @property
    def source(self) -> str:
        """Authors, year and journal."""
        return f"{self.name}, {self.journal}"

    @property
    def numbers(self) -> str:
        """The count with its interval, or what the paper prints where it prints no count."""
        return self.as_printed if self.estimate.value is None else self.estimate.number_text()

    @property
    def counted(self) -> str:
        """What was counted, and in which part of the patients."""
        return f"{self.code} ({self.subgroup})" if self.subgroup else self.code


@cache
def published_series() -> tuple[PublishedSeries, ...]:
    """Every line of the package's table, in its order."""
    text = files("analyses.literature") / "published_series.csv"
    with text.open(encoding="utf-8") as file:
        frame = pd.read_csv(file, dtype="string")
    return tuple(map(_line, _rows(frame)))


def chosen_series(path: Path | str) -> tuple[PublishedSeries, ...]:
    """The lines of a table of one's own; the package's where the path is empty.

    Raises SeriesError as `read_series` does.
    """
    return read_series(path) if str(path) else published_series()


def read_series(path: Path | str) -> tuple[PublishedSeries, ...]:
    """The lines of a table of one's own: CSV (UTF-8) with the columns of COLUMNS, one line a count.

    Columns `subgroup` (grade or period of a paper entered split) and `cohort` (lines that share it
    are never pooled with each other) may be added.

    Raises SeriesError, with every problem in one message, where the file cannot be read or a line
    is wrong: nothing is left out in silence.
    """
    try:
        frame = pd.read_csv(path, dtype="string", encoding="utf-8-sig", keep_default_na=False)
    except FileNotFoundError:
        raise SeriesError(f"{path} does not exist; give a CSV file of published series.") from None
    except (OSError, ValueError) as problem:
        raise SeriesError(f"{path} cannot be read as CSV in UTF-8: {problem}") from None
    frame.columns = [str(name).strip() for name in frame.columns]
    lacking = [name for name in COLUMNS if name not in frame]
    if lacking:
        raise SeriesError(f"{path} lacks the columns {', '.join(lacking)}; wanted are "
                          f"{', '.join(COLUMNS)}.")
    rows = _rows(frame)
    problems = problems_of(rows)
    if problems:
        raise SeriesError("\n".join([f"{path} has {len(problems)} problems:", *problems]))
    return tuple(map(_line, rows))


def _rows(frame: pd.DataFrame) -> list[dict[str, str]]:
    """The rows as plain texts, an empty cell as an empty text."""
    names = (*COLUMNS, SUBGROUP, COHORT)
    return [{name: ("" if pd.isna(value) else str(value).strip())
             for name, value in zip(names, row, strict=True)}
            for row in frame.reindex(columns=list(names)).itertuples(index=False)]


def _line(values: Mapping[str, str]) -> PublishedSeries:
    return PublishedSeries(
        id=values["id"], authors=values["authors"], year=int(values["year"]),
        journal=values["journal"], identifier=values["identifier"], unit=values["unit"],
        code=values["code"], subgroup=values[SUBGROUP], agent_group=values["agent_group"],
        as_printed=values["as_printed"], estimate=_estimate(values),
        cohort=values[COHORT] or values["identifier"],
    )


def _estimate(values: Mapping[str, str]) -> Estimate:
    id, unit = f"published.{values['id']}", values["unit"]
    if not values["events"] or not values["total"]:
        return Estimate(id=id, kind="proportion", value=None, unit=unit, method="not printed",
                        flags=("counts not printed",))
    events, total = int(values["events"]), int(values["total"])
    if unit == PERSON_TIME:
        return incidence_rate(events, float(total), id=id, unit=unit)
    # The paper's rows may repeat within patients; its counts do not say, so the interval is the
    # exact one and the caption says that it takes rows as independent.
    return proportion(events, total, id=id, unit=unit)
