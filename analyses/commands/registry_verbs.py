"""Verbs of the registry: a blank workbook, an intake, the state of the data."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from analyses.commands.speaking import (
    DATA_ERRORS,
    DONE,
    WRONG_CALL,
    CallError,
    Told,
    progress,
)
from analyses.commands.store_opened import store_opened

NO_CODE = ("The audit trail does not say who took this in: add --by with your code (such as QI1, "
           "never a name) the next time.")

Registry = Annotated[str, typer.Option(
    "--registry", help="The registry: a path to its file, or a database address.")]


def workbook(out: Annotated[Path, typer.Argument(metavar="OUT.xlsx")]) -> Told:
    """Write a blank entry workbook, with drop-down lists, units and notes."""
    from registry.intake.workbook_write import write_workbook

    write_workbook(out)
    return Told("workbook", (
        f"Entry workbook written to {out}. Its first sheet says how to fill it in.",))


def dictionary(out: Annotated[Path, typer.Option(
        "--out", metavar="FILE", help="A file that does not exist yet: .xlsx, .csv or .md.")],
) -> Told:
    """Write the data dictionary: every field and what uses it, and every measure."""
    from analyses.measures.measure_list import measure_list
    from analyses.models.field_uses import field_uses
    from registry.quality.dictionary import write_dictionary

    write_dictionary(out, field_uses(), measure_list())
    more = (" A CSV file holds the fields alone; .xlsx and .md list the measures too."
            if out.suffix.lower() == ".csv" else " It lists the fields, and the measures.")
    return Told("dictionary", (f"Data dictionary written to {out}.{more}",))


def intake(
    source: Annotated[Path, typer.Argument(
        help="Entry workbook, folder of CSV files, or an old spreadsheet with its mapping.")],
    registry: Registry = "",
    mapping: Annotated[Path | None, typer.Option(
        help="Mapping file (TOML) of an old spreadsheet.")] = None,
    by: Annotated[str | None, typer.Option(help="Code of who takes the file in.")] = None,
    try_: Annotated[bool, typer.Option("--try", help="Check only; change nothing.")] = False,
    replace: Annotated[bool, typer.Option(
        "--replace", help="Let this file replace values of other sources, and remove rows that "
        "it gave before and has no more; with --try it only says which.")] = False,
    draft: Annotated[bool, typer.Option(
        "--draft", help="Only propose a mapping, written to the --mapping file.")] = False,
) -> Told:
    """Check a file cell by cell and take it into the registry."""
    from registry.old_sheets.front_door import take_in_file

    if draft:
        return _draft(source, mapping)
    if not registry:
        raise CallError("Say which registry takes the file in: --registry PATH.")
    with progress() as tell:
        outcome = take_in_file(source, store_opened(registry, bring_up=not try_), mapping=mapping,
                               by=by, dry_run=try_, replace=replace, progress=tell)
    if outcome.exit_code == WRONG_CALL:
        raise CallError(outcome.summary)
    # Said last, where it is read: the trail is all that tells later who took a value in.
    nameless = () if by or try_ else (NO_CODE,)
    return Told("intake", (outcome.summary, *nameless), outcome.exit_code)


def _draft(source: Path, mapping: Path | None) -> Told:
    from registry.old_sheets.draft.drafting import draft_mapping

    if mapping is None:
        raise CallError("--draft needs --mapping FILE.toml, the file to write the proposal to.")
    with progress() as tell:
        return Told("draft", draft_mapping(source, mapping, progress=tell))


def check(
    registry: Registry,
    schedule: Annotated[Path | None, typer.Option(
        help="The service's own follow-up schedule (TOML).")] = None,
) -> Told:
    """Show data quality: completeness, open queries, follow-up due, the audit trail."""
    from registry.quality.follow_up_schedule import read_schedule
    from registry.quality.state import quality_report

    own = read_schedule(schedule) if schedule else None
    with progress() as tell:
        tell("reading the registry")
        state = quality_report(store_opened(registry, create=False), schedule=own)
    return Told("check", state.lines, DATA_ERRORS if state.errors else DONE)


def follow_up(
    registry: Registry,
    out: Annotated[Path, typer.Option(
        "--out", metavar="LIST.xlsx", help="A file that does not exist yet.")],
    schedule: Annotated[Path | None, typer.Option(
        help="The service's own schedule, and when a patient is lost (TOML).")] = None,
) -> Told:
    """List who is due, one row a patient; filled in, the list comes back through intake."""
    from registry.quality.follow_up_schedule import read_schedule
    from registry.quality.follow_up_workbook import write_follow_up_list

    own = read_schedule(schedule) if schedule else None
    with progress() as tell:
        tell("reading the registry")
        told = write_follow_up_list(out, store_opened(registry, create=False), schedule=own)
    return Told("follow_up", told)


def changes(
    registry: Registry,
    out: Annotated[Path, typer.Option(
        "--out", metavar="FILE", help="A file that does not exist yet: .xlsx or .csv.")],
    patient: Annotated[str | None, typer.Option(
        help="Study code, for the changes of one patient.")] = None,
) -> Told:
    """List what was changed, when, by whom and from which source: the audit trail to read."""
    from registry.quality.changes_listed import write_changes

    with progress() as tell:
        tell("reading the audit trail")
        count = write_changes(out, store_opened(registry, create=False), patient)
    return Told("changes", (f"{count:,} changes written to {out}.",))
