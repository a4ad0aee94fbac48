"""The one list of what the commands make, and who may see it; every command prints its part."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Sight(StrEnum):
    """Who may see an output."""

    LEAVES = "May leave the service"
    REVIEWED = "For confidential peer review, without study code or date"
    INSIDE = "Stays inside the service"


@dataclass(frozen=True)
class Output:
    """One kind of output.

    name: a file's path in its folder, with * for any letters, or words for what is no file of a
    fixed name; why: what it holds, in words; made_by: the jobs that make it.
    """

    name: str
    sight: Sight
    why: str
    made_by: tuple[str, ...]


SERIES, CONFERENCE, QUALITY = (
    f"report for {audience}" for audience in ("series", "conference", "quality"))
SERIES_HIDDEN, QUALITY_HIDDEN = (
    f"report for {audience}, small cells hidden" for audience in ("series", "quality"))
REPORTS = (SERIES, CONFERENCE, QUALITY, "demo")
ALL_REPORTS = (*REPORTS, SERIES_HIDDEN, QUALITY_HIDDEN)

OUTPUTS = (
    Output("results.json", Sight.LEAVES, "numbers", ALL_REPORTS),
    Output("results.schema.json", Sight.LEAVES, "no data", ALL_REPORTS),
    Output("*.docx", Sight.LEAVES, "numbers",
           (SERIES, QUALITY, "demo", SERIES_HIDDEN, QUALITY_HIDDEN)),
    Output("case-series-to-share.html", Sight.LEAVES, "numbers", (SERIES_HIDDEN,)),
    Output("figures/*", Sight.LEAVES, "numbers", (SERIES, "demo", SERIES_HIDDEN)),
    Output("tables/*", Sight.LEAVES, "numbers", (SERIES, "demo", SERIES_HIDDEN)),
    Output(".written.json", Sight.LEAVES, "names of the files and their hashes", ALL_REPORTS),
    Output("conference*.pptx", Sight.REVIEWED, "one case", (CONFERENCE, "demo")),
    Output("digest-*.docx", Sight.REVIEWED, "events of a quarter", (CONFERENCE,)),
    Output("conference*.html", Sight.REVIEWED, "one case", (CONFERENCE, "demo")),
    Output("case-series.html", Sight.INSIDE, "study codes", (SERIES, "demo")),
    Output("quality-report.html", Sight.INSIDE, "study codes", (QUALITY, "demo")),
    Output("cases.parquet", Sight.INSIDE, "study codes", REPORTS),
    Output("by-operator-stays-inside.json", Sight.INSIDE, "operator codes", (QUALITY, "demo")),
    Output("the freeze", Sight.INSIDE, "study codes", ("freeze", "demo")),
    Output("the executed notebook", Sight.INSIDE, "study codes", ("notebook",)),
    Output("the registry", Sight.INSIDE, "study codes", ("intake", "demo")),
    Output("the workbook, once it is filled in", Sight.INSIDE, "study codes",
           ("intake", "workbook", "demo")),
    Output("the lists of problems", Sight.INSIDE, "study codes", ("intake", "demo")),
    Output("the mapping", Sight.INSIDE, "words of the old spreadsheet", ("draft",)),
    Output("the plan and the log of signals in the registry", Sight.INSIDE, "days of sessions",
           ("monitor",)),
    Output("the chart", Sight.INSIDE, "days of sessions, operator codes", ("monitor",)),
    Output("the course of a patient", Sight.INSIDE, "study code and dates", ("cases",)),
    Output("the list of changes", Sight.INSIDE, "study codes", ("changes",)),
    Output("the follow-up list", Sight.INSIDE, "study codes", ("follow_up",)),
    Output("the list of cases", Sight.INSIDE, "study codes, and numbers of the service's own",
           ("cases",)),
    Output("what is on the screen", Sight.INSIDE, "study codes",
           ("intake", "draft", "check", "monitor")),
    Output("the blank workbook", Sight.LEAVES, "no data", ("workbook",)),
    Output("the data dictionary", Sight.LEAVES, "no data", ("dictionary",)),
    Output("the plan", Sight.LEAVES, "no data", ("plan",)),
    Output("what is on the screen", Sight.LEAVES, "published examples", ("verify",)),
)


def outputs_of(job: str) -> tuple[Output, ...]:
    """What a job makes, in the order of the list. Raises KeyError for a job it does not know."""
    found = tuple(output for output in OUTPUTS if job in output.made_by)
    if not found:
        raise KeyError(f"No output of {job} stands in the list of who may see what.")
    return found


def who_may_see(job: str) -> list[str]:
    """A line for each sort of reader: `Stays inside the service: cases.parquet (study codes).`"""
    found = outputs_of(job)
    return [_line(sight, tuple(output for output in found if output.sight is sight))
            for sight in Sight if any(output.sight is sight for output in found)]


def _line(sight: Sight, outputs: tuple[Output, ...]) -> str:
    whys = dict.fromkeys(output.why for output in outputs)
    parts = (f"{', '.join(o.name for o in outputs if o.why == why)} ({why})" for why in whys)
    return f"{sight}: {'; '.join(parts)}."
