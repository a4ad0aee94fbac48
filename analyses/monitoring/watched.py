"""One measure watched over one freeze: the plan's own analysis, and what it says in a sentence."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any

from analyses.measures.declared import about, share_of
from analyses.measures.gate import Known
from analyses.monitoring.monitoring_plan import MonitoringPlan
from analyses.monitoring.procedure_frame import procedure_frame
from analyses.monitoring.service import QualityAnalysis, quality_analysis
from analyses.population.unit_frames import Units
from analyses.statistics.control_charts.cusum import Cusum
from analyses.statistics.control_charts.stages import Change
from analyses.statistics.estimate import Estimate
from analyses.words.estimate_text import counted

if TYPE_CHECKING:
    import pandas as pd

FEWEST_WATCHED = 10


@dataclass(frozen=True)
class Crossing:
    """The limit crossed: worse or better, on which day, the sum and the limit."""

    direction: str
    crossed_on: date
    value: float
    limit: float


@dataclass(frozen=True)
class Answer:
    """The heading's question answered: the answer's words, its sentence, what to look at first.

    verdict: worse, better, no sign, or cannot be told. estimates: those that its numbers are of.
    """

    verdict: str
    sentence: str
    look_first: str
    estimates: tuple[Estimate, ...] = ()


WORSE, BETTER, NO_SIGN, UNTOLD = "worse", "better", "no sign of either", "cannot be told"
ORDER = ("the data, the case mix, the place and the equipment, the process, and only then the "
         "person")


def watched_rows(units: Units, measure: str) -> tuple[pd.DataFrame, str]:
    """One row a session for a measure, and a sentence about those of unknown outcome.

    Where only sessions with the event can be unknown they count as events until they are known:
    left out, they would flatter.
    """
    rows = procedure_frame(units, measure)
    unknown = rows["complication"].isna()
    if not unknown.any() or share_of(measure).known is not Known.ONLY_WITH_AN_EVENT:
        return rows, ""
    filled = rows.assign(complication=rows["complication"].fillna(True))
    return filled, (f"{int(unknown.sum())} sessions whose outcome is not known yet count as "
                    "events: only a session with an event can be unknown.")


def watched_analysis(
    units: Units, measure: str, *, plan: MonitoringPlan | None = None,
    changes: tuple[Change, ...] = (),
) -> tuple[QualityAnalysis | None, str]:
    """The analysis of a measure from the plan's baseline; None, and why, where there is none."""
    rows, said = watched_rows(units, measure)
    if rows["complication"].notna().sum() == 0:
        return None, "There is no procedure whose outcome is known, so there is no chart."
    own: dict[str, Any] = {} if plan is None else {
        "baseline_from": plan.baseline_from, "baseline_until": plan.baseline_to,
        "planned_to": plan.planned_to, "odds_ratios": plan.looked_for}
    try:
        found = quality_analysis(rows, event=about(measure).subject, changes=changes, **own)
    except ValueError as why:
        return None, f"{str(why)[0].upper()}{str(why)[1:]}."
    if said:
        found = replace(found, problems=(said, *found.problems))
    return found, ""


def crossings(found: QualityAnalysis) -> list[Crossing]:
    """Every crossing of a limit, oldest first; days as the CUSUM's labels."""
    import pandas as pd

    rows = [Crossing("worse" if cusum.worse else "better", pd.Timestamp(row["label"]).date(),
                     float(row["value"]), float(row["limit"]))
            for cusum in found.cusums for row in cusum.signals.to_dict("records")]
    return sorted(rows, key=lambda crossing: crossing.crossed_on)


def new_crossings(found: QualityAnalysis, plan: MonitoringPlan) -> list[Crossing]:
    """Those that the log does not hold yet. What it holds stays, whatever is found now."""
    logged = {(signal.direction, signal.crossed_on) for signal in plan.signals}
    return [c for c in crossings(found) if (c.direction, c.crossed_on) not in logged]


def answered(
    found: QualityAnalysis | None, plan: MonitoringPlan | None, problem: str = "", *,
    say: Callable[[date], str] = date.isoformat,
) -> Answer:
    """Is the watched harm more or less frequent? From the log, and from what is seen now.

    found, problem: as of `watched_analysis`; say: a signal's day in words.
    """
    logged = () if plan is None else plan.signals
    days = {(s.crossed_on, s.direction) for s in logged}
    if plan is not None and found is not None:
        days |= {(c.crossed_on, c.direction) for c in crossings(found)}
    if plan is None:
        return Answer(UNTOLD, "Cannot be told: no monitoring plan is declared, so no baseline "
                      "stands still, and what is shown below is judged by the first half of the "
                      "sessions, which moves.",
                      "Look first at declaring one: nidusbook monitor --registry … --plan FILE.")
    if days:
        return _signalled(sorted(days, reverse=True), found, say)
    return _silent(found, plan, problem)


def _signalled(
    days: list[tuple[date, str]], found: QualityAnalysis | None, say: Callable[[date], str],
) -> Answer:
    newest = days[0][1]
    named = ", ".join(f"{say(day)} ({direction})" for day, direction in days)
    signals = counted_whole("signals", len(days), "signal")
    run_up = () if found is None else (
        counted_whole("run_up", _run_up(found, newest), "event"),)
    told = f"{counted(len(days), 'signal')} since the baseline"
    return Answer(
        newest, f"{newest.capitalize()}: by {told}, {named}." if len(days) == 1 else
        f"{newest.capitalize()}: by the newest of {told}. All of them, the newest first: {named}.",
        _look_first(newest, run_up), (signals, *run_up))


def _look_first(newest: str, run_up: tuple[Estimate, ...]) -> str:
    """Worse: at the events themselves. Better: whether they were all recorded."""
    events = counted(run_up[0].n, "event") if run_up and run_up[0].n else ""
    if newest == "better":
        recorded = f" ({events} recorded in the run-up to it)" if events else ""
        return f"Look first at whether an event was left unrecorded{recorded}: {ORDER}."
    named = f"the {events} in the run-up to it, one by one: " if events else ""
    return f"Look first at {named}{ORDER}."


def counted_whole(name: str, number: int, unit: str) -> Estimate:
    """A whole count of the watching, of no sample and so without an interval."""
    return Estimate(id=f"monitoring.{name}", kind="count", value=float(number), n=number,
                    unit=unit, method="count")


def _run_up(found: QualityAnalysis, direction: str) -> int:
    """Events from where the sum last lay at zero to the newest signal of a direction."""
    cusum: Cusum | None = next(
        (c for c in found.cusums if c.worse == (direction == "worse")), None)
    if cusum is None or cusum.signals.empty:
        return int(found.sessions.loc[found.sessions["watched"], "complication"].sum())
    last = int(cusum.signals.index[-1])
    before = cusum.table.iloc[:last]
    zeros = before.index[(before["value"] == 0) | before["signal"]]
    start = int(zeros[-1]) + 1 if len(zeros) else 0
    return int(cusum.table["event"].iloc[start:last + 1].sum())


def _silent(found: QualityAnalysis | None, plan: MonitoringPlan, problem: str) -> Answer:
    one_by_one = f"Look first at the events one by one: {ORDER}."
    if found is None or not found.cusums:
        why = problem if found is None else next(
            (p for p in found.problems if "baseline" in p), "nothing was watched yet")
        return Answer(UNTOLD, f"Cannot be told: {why[0].lower()}{why[1:]}", one_by_one)
    watched = len(found.cusums[0].table)
    sessions = counted_whole("watched", watched, "session")
    if watched < FEWEST_WATCHED:
        return Answer(UNTOLD, f"Cannot be told yet: {counted(watched, 'session')} since the "
                      "baseline.", one_by_one, (sessions,))
    design = found.designs[0]
    return Answer(
        NO_SIGN, f"No sign of either in the {watched:,} sessions since {plan.baseline_to}. Had "
        f"the risk doubled, a signal in the planned period would have had a chance of "
        f"{design.seen.number_text()}: no signal is not evidence of safety.", one_by_one,
        (sessions, design.seen))
