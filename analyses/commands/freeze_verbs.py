"""Verbs of a freeze: writing one, the plan that comes before it, and the reports made of it."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from analyses.commands.registry_verbs import Registry
from analyses.commands.speaking import Told, progress
from analyses.commands.store_opened import store_opened


class Purpose(StrEnum):
    """What a freeze is made for."""

    research = "research"
    quality = "quality"


class SmallCellsChoice(StrEnum):
    """What becomes of counts of 1 to 4 patients."""

    show = "show"
    hide = "hide"


class Audience(StrEnum):
    """Whom a report is for."""

    series = "series"
    conference = "conference"
    quality = "quality"


def freeze(
    registry: Registry,
    out: Annotated[Path, typer.Option(help="Folder of the freeze; it is written into it.")],
    purpose: Annotated[Purpose, typer.Option(
        help="research takes only patients who agreed; quality takes all, where local rules "
        "permit.")] = Purpose.research,
    although_harm_waits: Annotated[bool, typer.Option(
        "--although-harm-waits", help="Freeze for research although patients with a death or "
        "complication are held back by errors; every document then begins with it.")] = False,
    replace: Annotated[bool, typer.Option(
        "--replace", help="Put the new freeze in the place of an older one of other "
        "content.")] = False,
) -> Told:
    """Write the dated, hashed, read-only data set that every analysis starts from."""
    from registry.freeze.freeze_reading import read_freeze
    from registry.freeze.freeze_writing import make_freeze

    with progress() as tell:
        tell("freezing the registry")
        made = make_freeze(store_opened(registry, create=False), out, purpose=purpose.value,
                           although_harm_waits=although_harm_waits, replace=replace)
        hash_ = read_freeze(made).manifest["freeze_hash"]
    return Told("freeze", (
        f"Freeze for {purpose.value} written to {out}.", f"Its hash: {hash_}"))


def plan(out: Annotated[Path, typer.Argument(metavar="OUT.toml")]) -> Told:
    """Write an analysis plan to change, before the data are looked at."""
    from datetime import date

    from analyses.models.plan_draft import write_draft_plan

    write_draft_plan(out, date.today())
    return Told("plan", (
        f"Analysis plan written to {out}, dated today. Its head says what may be changed.",
        f"Then: nidusbook report FREEZE --out DIR --plan {out}"))


def report(
    frozen: Annotated[Path, typer.Argument(metavar="FREEZE")],
    out: Annotated[Path, typer.Option(help="Folder of the report.")],
    for_: Annotated[Audience, typer.Option("--for", help="Whom it is for.")] = Audience.series,
    case: Annotated[list[str] | None, typer.Option(
        help="Study code of a case, for a conference; may be given several times.")] = None,
    event: Annotated[int | None, typer.Option(
        help="Which of the case's events, by its number; the gravest where it is left "
        "out.")] = None,
    template: Annotated[Path | None, typer.Option(
        help="The hospital's own slides (.pptx) whose layouts the conference takes.")] = None,
    digest: Annotated[str | None, typer.Option(
        help="A quarter, such as 2026-Q3: its events and actions on two pages, for a "
        "conference.")] = None,
    limits: Annotated[Path | None, typer.Option(
        help="The service's own practice limits (TOML).")] = None,
    plan: Annotated[Path | None, typer.Option(
        help="Plan file (TOML) of the technique models.")] = None,
    project: Annotated[Path | None, typer.Option(
        help="Words of the quality project (TOML): aim, measures, changes.")] = None,
    published: Annotated[Path | None, typer.Option(
        help="Own table (CSV) of published series, for the case series.")] = None,
    figures: Annotated[list[str] | None, typer.Option(
        help="Formats (svg, pdf, png, tiff) and widths (one-column, two-columns) of the case "
        "series' figures as files; svg in two columns where it is left out.")] = None,
    small_cells: Annotated[SmallCellsChoice, typer.Option(
        help="hide: for files that are published as data; nothing is shown by a group with a "
        "count of 1 to 4, and only files that may leave are written.")] = SmallCellsChoice.show,
) -> Told:
    """Write the documents, figures, tables and results.json of a freeze."""
    from analyses.study.one_study import open_study

    if published:
        from analyses.literature.published import read_series

        read_series(published)  # A faulty table is told at once, before minutes of work.
    with progress() as tell:
        tell("reading the freeze")
        study = open_study(frozen, limits=limits)
        lines = study.report(
            out, audience=for_.value, case=case, event=event, template=template, digest=digest,
            plan=plan, project=project, published=published, figures=figures or (),
            small_cells=small_cells.value, progress=tell)
    hidden = ", small cells hidden" if small_cells is SmallCellsChoice.hide else ""
    return Told(f"report for {for_.value}{hidden}", (*study.freeze.opening, *lines))
