"""The quality of a freeze's data as content: what is missing, what is asked, who is due.

The tables come from the registry's own functions; here they are only put into words and figures.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from analyses.content.blocks import (
    Block,
    Cell,
    Paragraph,
    Picture,
    Points,
    Section,
    Sentence,
    Table,
    plain,
)
from analyses.documents.always_said import left_out
from analyses.documents.quality.readers_section import readers_sections
from analyses.monitoring.quality_of_data import completeness_by_month, time_to_entry
from analyses.statistics.estimate import Estimate
from analyses.statistics.table_rows import rows_of
from registry.schema import Injections, Lesions, Patients, Sessions

if TYPE_CHECKING:
    import pandas as pd

    from registry.quality.follow_up_schedule import Schedule

Tables = Mapping[str, Any]

WELL_RECORDED = 0.9
"""Fields recorded less often than this are listed first."""
OF_INJECTIONS = (
    Injections.agent_ml,
    Injections.injection_min,
    Injections.pauses_s,
    Injections.longest_pause_s,
    Injections.reflux_mm,
    Injections.reflux_limit_mm,
    Injections.venous_passage,
    Injections.retrieval,
)
"""Fields of the injections whose recording is followed month by month: technique rests on them."""
SESSION = [Patients.patient_id, Lesions.lesion_no, Sessions.session_no]
FEW_DAYS = 3
"""Rows entered on no more days than this came in at once: their delay says nothing."""


def data_quality_sections(
    tables: Tables, manifest: Mapping[str, Any], *, schedule: Schedule | None = None,
) -> tuple[Section, ...]:
    """Who is in a freeze, what was not recorded, what is asked of the recorder, who is due.

    Where events were read by two, how far the readers agree.

    tables, manifest: the freeze's. schedule: whose follow-up schedule (the package's own where
    None); follow-up is due on the freeze's date. The lists name study codes and stay inside the
    service.
    """
    return (
        Section("Who is in the freeze", _who(tables, manifest)),
        Section("What was not recorded", _completeness(tables)),
        Section("From session to entry", _entry(tables)),
        Section("Questions to the recorder", _queries(tables)),
        Section("Follow-up due", _follow_up(tables, manifest, schedule)),
        *readers_sections(tables),
    )


def recorded(field: str, table: str, count: int, among: int) -> Estimate:
    """The share of rows in which a field is recorded; counted whole, so without an interval."""
    return Estimate(
        id="data_quality.recorded", kind="proportion", unit=table.rstrip("s"),
        value=count / among if among else None, events=count, n=among, method="count",
        group={"table": table, "field": field})


def _counted(id: str, number: int, unit: str, **group: str) -> Estimate:
    return Estimate(id=id, kind="count", value=float(number), n=number, unit=unit,
                    method="count", group=group or None)


def _who(tables: Tables, manifest: Mapping[str, Any]) -> tuple[Block, ...]:
    names = [name for name in tables
             if name not in ("grades", "case_numbers", "entries", "services")]
    counts = [_counted("data_quality.rows", len(tables[name]), name.rstrip("s").replace("_", "-"),
                       table=name) for name in names]
    rows = tuple((Cell(name.replace("_", "-").capitalize(), heading=True),
                  Cell(f"{len(tables[name]):,}", e))
                 for name, e in zip(names, counts, strict=True))
    return (Paragraph(left_out(manifest)),
            Table("rows", "What the freeze holds", ("Table", "Rows"), rows))


def _completeness(tables: Tables) -> tuple[Block, ...]:
    from registry.quality.completeness import completeness

    found = completeness(tables)
    found = found[found["expected"] > 0]
    low = found[found["share"] < WELL_RECORDED].sort_values(
        ["share", "table", "field"], kind="stable")
    words = plain(
        "A field is asked only of the rows that can have it: nobody expects a rate of a coil. A "
        "blank means not recorded; no analysis reads it as no or as zero.")
    shown = (_completeness_table(
        low, "gaps", f"Fields recorded in less than {100 * WELL_RECORDED:.0f} % of their rows, "
        "fewest first"),) if len(low) else (
        plain(f"Every field is recorded in {100 * WELL_RECORDED:.0f} % of its rows or more."),)
    everything = _completeness_table(found, "completeness", "Every field", folded=True)
    return (words, *shown, *_by_month(tables), everything)


def _completeness_table(
    found: pd.DataFrame, name: str, caption: str, *, folded: bool = False,
) -> Table:
    rows = []
    for row in rows_of(found):
        share = recorded(row["field"], row["table"], int(row["recorded"]), int(row["expected"]))
        rows.append((Cell(row["label"], heading=True), Cell(row["table"].replace("_", "-")),
                     Cell(share.number_text(), share)))
    return Table(name, caption, ("Field", "Table", "Recorded/expected (%)"), tuple(rows),
                 folded=folded)


def _by_month(tables: Tables) -> tuple[Picture, ...]:
    from analyses.figures.quality_figures import completeness_figure
    from registry.quality.completeness import EXPECTED
    from registry.schema import TABLES

    rows = tables["injections"]
    rows = rows[EXPECTED[("injections", Injections.agent_ml)](tables)]
    if rows.empty:
        return ()
    dated = rows.merge(
        tables["sessions"][[*SESSION, Sessions.session_date]], on=SESSION, how="left"
    )
    fields = [f for f in TABLES["injections"].fields if f.name in OF_INJECTIONS]
    labelled = dated.rename(columns={f.name: f.label for f in fields})
    months = completeness_by_month(
        labelled, date=Sessions.session_date, fields=[f.label for f in fields])
    caption = ("Recording of technique, injections of a liquid agent, by month of the session "
               "(the last 24 months)")
    return (Picture("completeness-by-month", caption,
                    f"{caption}. The numbers over all months stand in the tables.",
                    lambda width: completeness_figure(months, width_in=width)),)


def _entry(tables: Tables) -> tuple[Block, ...]:
    from analyses.figures.quality_figures import entry_figure

    entries = tables["entries"]
    sessions = entries[entries["table"] == "sessions"]
    if sessions.empty:
        return (plain("The freeze does not say when its rows were entered."),)
    days = sessions["first_entered"].dt.normalize().nunique()
    number = _counted("data_quality.entry_days", int(days), "day")
    if days <= FEW_DAYS:
        what = "one day" if days == 1 else f"{days} days"
        return (Paragraph((Sentence(
            f"All sessions were entered on {what}, as when an old collection is taken in at "
            "once; how soon after a session it is entered cannot be judged.", (number,)),)),)
    rows = tables["sessions"]
    dated = sessions.assign(**_key_columns(sessions["key"])).astype(
        {name: rows[name].dtype for name in SESSION})
    both = rows[[*SESSION, Sessions.session_date]].merge(
        dated[[*SESSION, "first_entered"]], on=SESSION, how="left")
    table = time_to_entry(both[Sessions.session_date], both["first_entered"])
    caption = "Days from a session to its entry, by month of the session"
    return (Picture("entry", caption, caption,
                    lambda width: entry_figure(table, width_in=width)),)


def _key_columns(keys: pd.Series) -> dict[str, list[Any]]:
    """The parts of the sessions' keys, which the entries hold as a list in text."""
    parts = [json.loads(key) for key in keys]
    return {name: [part[at] for part in parts] for at, name in enumerate(SESSION)}


def _queries(tables: Tables) -> tuple[Block, ...]:
    from registry.quality.state import open_queries

    found = open_queries(tables)
    if found.empty:
        return (plain("No rule has a question to the recorder."),)
    rows = []
    for rule, part in found.groupby("rule", sort=False):
        number = _counted("data_quality.queries", len(part), "query", rule=str(rule))
        first = part.iloc[0]
        rows.append((Cell(str(rule), heading=True), Cell(f"{len(part):,}", number),
                     Cell(str(first["wanted"])), Cell(str(first["mend"]))))
    each = tuple(
        (Cell(row["row"], heading=True), Cell(row["table"].replace("_", "-")),
         Cell(row["rule"]), Cell(row["found"])) for row in rows_of(found))
    return (
        plain("A question does not keep a patient out: it asks the recorder to look again. The "
              "value counts as it stands until it is changed in the registry. A freeze holds the "
              "questions open on its day; how many were closed shows from one freeze to the next."),
        Table("queries", "Open questions by rule", ("Rule", "Rows", "Wanted", "To mend"),
              tuple(rows)),
        Table("queries-each", "Every open question, row by row",
              ("Row", "Table", "Rule", "Found"), each, folded=True))


def _follow_up(
    tables: Tables, manifest: Mapping[str, Any], schedule: Schedule | None,
) -> tuple[Block, ...]:
    from registry.quality.follow_up import ORDER, follow_up_of
    from registry.quality.follow_up_schedule import default_schedule

    plan = schedule or default_schedule()
    found = follow_up_of(tables, today=manifest["date"], schedule=plan)
    counts = {state: int((found["state"] == state).sum()) for state in ORDER}
    told = Points(tuple(
        Sentence(f"{words}: {counts[state]:,}.",
                 (_counted("data_quality.follow_up", counts[state], "visit", state=state),))
        for state, words in STATE_WORDS.items()))
    call = found[found["state"].isin(TO_CALL)]
    rows = tuple(
        (Cell(f"{row[Patients.patient_id]}, lesion {row[Lesions.lesion_no]}", heading=True),
         Cell(row["what"]), Cell(TO_CALL[row["state"]]), Cell(row["due"].isoformat()),
         Cell(row["until"].isoformat()), Cell(f"{row['days_over']:,}" if row["days_over"] else ""))
        for row in rows_of(call))
    return (
        plain(f"On {manifest['date']}, the day of the freeze; schedule: {plan.source}. The dead "
              "are not called after their death, and a lesion whose plan is ongoing is not yet "
              "due."),
        told,
        Table("overdue", "To call: overdue first, longest first, then due", (
            "Lesion", "What", "State", "Due on", "Last day of its window", "Days over"), rows,
            folded=True))


TO_CALL = {"overdue": "overdue", "due": "due now"}
"""The states in which a coordinator calls."""
STATE_WORDS = {
    "overdue": "Past the last day of their window", "due": "Window open now",
    "planned": "Window opens within 60 days",
    "missed": "Never done, and the next one of its kind is due by now", "done": "Done",
}
