"""Practice limits as process measures: how often they are kept, which is broken most, and how
that goes with outcome. Descriptive: a broken limit and a complication share their causes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np

from analyses.monitoring.service_charts import from_baseline
from analyses.statistics.control_charts.attribute_charts import p_chart
from analyses.statistics.control_charts.chart import Chart
from analyses.statistics.estimate import Estimate
from registry.schema import Patients

if TYPE_CHECKING:
    import pandas as pd

COLUMNS = ("date", "limit", "within", Patients.patient_id)
FEWEST_PERIODS = 6
DESCRIPTIVE = (
    "Limits are common practice, not a standard: the product's instructions for use and the "
    "local protocol come first. A broken limit and a complication share causes (a difficult "
    "nidus brings both): this describes, it does not explain."
)


@dataclass(frozen=True)
class ProcessMeasures:
    """Practice limits over time.

    kept: one proportion a limit, with the number not recorded beside it in `pareto`; pareto: one
    row a limit, most often broken first: limit, broken, recorded, missing, share_of_breaks,
    cumulative; charts: a p chart a limit of the share kept by period, where there are enough
    periods; outcome: per limit, the proportion with a complication where the limit was broken
    and where it was kept; notes.
    """

    kept: tuple[Estimate, ...]
    pareto: pd.DataFrame
    charts: dict[str, Chart]
    outcome: tuple[Estimate, ...]
    notes: tuple[str, ...]


def process_measures(
    records: pd.DataFrame, *, period: str = "Q", outcome: str | None = None,
    baseline: tuple[date, date] | None = None,
) -> ProcessMeasures:
    """Work out the process measures.

    records: one row a check: `date`, `limit` (its name), `within` (True, False or blank for not
    recorded), `patient_id`; if wanted `key` and `unit` (what the check is of: session or
    injection, the latter where there is none), and, if named by `outcome`, a yes-or-no column of
    the session's complication. period: pandas period letter (M, Q, Y). baseline: first and last
    day of a declared one; the periods that lie in it whole then set the charts' limits, and where
    they are too few there is no chart. Raises ValueError naming what is missing.
    """
    missing = [c for c in (*COLUMNS, *([outcome] if outcome else [])) if c not in records.columns]
    if missing:
        raise ValueError(f"records: no column {', '.join(missing)}")
    if records.empty:
        raise ValueError("records: there is no check of a practice limit")
    known = records[records["within"].notna()].assign(within=lambda d: d["within"].astype(bool))
    names = sorted(records["limit"].unique())
    charts = {name: chart for name in names
              if (chart := _chart(known[known["limit"] == name], period, baseline)) is not None}
    return ProcessMeasures(
        tuple(_kept(name, known[known["limit"] == name]) for name in names),
        _pareto(records, known, names), charts,
        tuple(_by_outcome(known, names, outcome)) if outcome else (), (DESCRIPTIVE,),
    )


def _kept(name: str, rows: pd.DataFrame) -> Estimate:
    from analyses.statistics.proportions.clustered import clustered_proportion

    return clustered_proportion(
        rows["within"].to_numpy(dtype=float),
        rows[Patients.patient_id].tolist(),
        id="monitoring.limit_kept",
        unit=_unit(rows),
        group={"limit": name},
        keys=_keys(rows),
    )


def _keys(rows: pd.DataFrame) -> list[str] | None:
    """The keys of the rows checked, where the records have them."""
    return rows["key"].tolist() if "key" in rows.columns else None


def _unit(rows: pd.DataFrame) -> str:
    """What the checks of a limit are of."""
    return str(rows["unit"].iloc[0]) if "unit" in rows.columns and len(rows) else "injection"


def _pareto(records: pd.DataFrame, known: pd.DataFrame, names: Sequence[str]) -> pd.DataFrame:
    import pandas as pd

    rows = []
    for name in names:
        checks = known[known["limit"] == name]
        rows.append({"limit": name, "broken": int((~checks["within"]).sum()),
                     "recorded": len(checks),
                     "missing": int((records["limit"] == name).sum()) - len(checks)})
    table = pd.DataFrame(rows).sort_values(["broken", "limit"], ascending=[False, True],
                                           ignore_index=True)
    total = max(1, int(table["broken"].sum()))
    table["share_of_breaks"] = table["broken"] / total
    table["cumulative"] = table["share_of_breaks"].cumsum()
    return table


def _chart(
    rows: pd.DataFrame, period: str, baseline: tuple[date, date] | None,
) -> Chart | None:
    import pandas as pd

    days = pd.to_datetime(rows["date"])
    when = days.dt.to_period(period)
    counts = rows.groupby(when)["within"].agg(["sum", "size"])
    setting = None if baseline is None else days.between(
        pd.Timestamp(baseline[0]), pd.Timestamp(baseline[1])).groupby(when).all().tolist()
    if (len(counts) if setting is None else sum(setting)) < FEWEST_PERIODS:
        return None
    chart = p_chart(counts["sum"].tolist(), counts["size"].tolist(), baseline=setting,
                    labels=[str(label) for label in counts.index])
    chart = replace(chart, table=chart.table.assign(day=pd.PeriodIndex(counts.index).start_time))
    return chart if setting is None else from_baseline(chart, setting)


def _by_outcome(known: pd.DataFrame, names: Sequence[str], outcome: str) -> list[Estimate]:
    from analyses.statistics.proportions.clustered import clustered_proportion

    found = []
    for name in names:
        checks = known[(known["limit"] == name) & known[outcome].notna()]
        for words, rows in (("kept", checks[checks["within"]]),
                            ("broken", checks[~checks["within"]])):
            event: Any = rows[outcome].to_numpy(dtype=float)
            found.append(clustered_proportion(
                np.asarray(event), rows[Patients.patient_id].tolist(), unit=_unit(checks),
                id="monitoring.watched_by_limit", group={"limit": name, "was": words},
                keys=_keys(rows)))
    return found
