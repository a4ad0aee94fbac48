"""Verbs of the conference: which case to choose."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from analyses.commands.speaking import CallError, Told, progress
from analyses.commands.store_opened import store_opened

if TYPE_CHECKING:
    from analyses.population.unit_frames import Units

MOST = 40


def cases(
    frozen: Annotated[Path | None, typer.Argument(metavar="[FREEZE]")] = None,
    registry: Annotated[str, typer.Option(
        "--registry", help="The registry instead of a freeze: what is newest.")] = "",
    since: Annotated[datetime | None, typer.Option(
        formats=["%Y-%m-%d"], help="From this day on.")] = None,
    kind: Annotated[str, typer.Option(help="Words of the kind, such as haemorrhage.")] = "",
    phase: Annotated[str, typer.Option(help="Phase, such as resection.")] = "",
    not_discussed: Annotated[bool, typer.Option(
        "--not-discussed", help="Only events that no conference has discussed.")] = False,
    most: Annotated[int, typer.Option(min=1, help="How many lines to print.")] = MOST,
    number: Annotated[str, typer.Option(
        help="A number of the service's own; prints its study code. Needs --key.")] = "",
    code: Annotated[str, typer.Option(
        help="A study code; prints its number. Needs --key and --numbers.")] = "",
    key: Annotated[Path | None, typer.Option(help="The service's own key file.")] = None,
    prefix: Annotated[str, typer.Option(help="Letters of the study codes, with --number.")] = "N",
    numbers: Annotated[Path | None, typer.Option(
        help="The service's own numbers, one a line, with --code.")] = None,
    case: Annotated[str, typer.Option(
        help="A study code: its course on one A4 page, to print. Needs --out.")] = "",
    out: Annotated[Path | None, typer.Option(
        help="The file of --case: .pdf, .svg or .png.")] = None,
) -> Told:
    """List patients and events of every phase, the newest first, and actions that are open."""
    if number or code:
        return Told("cases", (_who(number, code, key, prefix, numbers),))
    from analyses.cases.case_choice import gravest_case
    from analyses.cases.case_list import Wanted, case_lines, case_list, kinds_there_are
    from analyses.cases.open_actions import action_lines, open_actions

    if (frozen is None) == (not registry):
        raise CallError("Give a freeze, or --registry PATH, and not both.")
    if bool(case) != (out is not None):
        raise CallError("--case CODE and --out FILE go together.")
    with progress() as tell:
        tell("reading the cases")
        units = _units(frozen, registry)
        if case and out is not None:
            return Told("cases", (_course_written(units, case, out),))
        rows = case_list(units, Wanted(
            since.date() if since else None, kind, phase, not_discussed))
        lines = case_lines(rows, most)
        if rows.empty and (kind or phase):
            lines.append(kinds_there_are(case_list(units)))
        grave = f"Without --case a report takes {gravest_case(units)}, the gravest."
        actions = action_lines(open_actions(units))
    return Told("cases", (*lines, grave, *actions))


def _course_written(units: Units, code: str, out: Path) -> str:
    from datetime import date

    from analyses.cases.patient_course import patient_course
    from analyses.content.blocks import Picture
    from analyses.figures.course_page import course_page
    from analyses.renderers.single_picture import write_picture

    course = patient_course(units, code)
    today = f"As recorded; written on {date.today()}"
    write_picture(Picture("course-page", f"Course of {code}", f"Course of {code}",
                          lambda _: course_page(course, today)), out, words=())
    return f"Course of {code}: {out}"


def _who(number: str, code: str, key: Path | None, prefix: str, numbers: Path | None) -> str:
    from registry.privacy.who_is_who import code_of, number_of, read_numbers

    if number and code:
        raise CallError("Give --number or --code, not both.")
    if key is None:
        raise CallError("The service's own key file is needed: --key FILE.")
    if number:
        return f"Its study code: {code_of(number, key, prefix)}"
    if numbers is None:
        raise CallError("A study code is led back through a list of the service's own numbers: "
                        "--numbers FILE, one a line.")
    return f"{code} is {number_of(code, read_numbers(numbers), key)}"


def _units(frozen: Path | None, registry: str) -> Units:
    from analyses.population.unit_frames import units_of

    if frozen is not None:
        from registry import read_freeze

        return units_of(read_freeze(frozen).tables)
    from registry.freeze.freeze_content import content_of

    return units_of(content_of(store_opened(registry, create=False).snapshot(), "quality").tables)
