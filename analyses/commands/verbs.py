"""The command line: one verb a job. It opens what is named, calls the rooms, and prints.

Exit codes: 0 done (queries included), 1 the data have errors, 2 the call or the file was wrong
(nothing was written). Everything that a run takes long over shows progress.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

if TYPE_CHECKING:
    from rich.console import Console

    from analyses.commands.old_sheet_look import OldSheetLook
    from registry.freeze.freeze_reading import Freeze


app = typer.Typer(
    name="nidusbook", no_args_is_help=True, add_completion=False, rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Outcomes registry and statistics notebooks for brain AVM embolization. It describes "
    "groups of patients; it never decides treatment.",
)

DONE, DATA_ERRORS, WRONG_CALL = 0, 1, 2

Registry = Annotated[str, typer.Option(
    "--registry", help="The registry: a path to its file, or a database address.")]


class Purpose(StrEnum):
    """What a freeze is made for."""

    research = "research"
    quality = "quality"


class Audience(StrEnum):
    """Whom a report is for."""

    series = "series"
    conference = "conference"
    quality = "quality"


@app.command()
def demo(
    out: Annotated[Path, typer.Option(help="Folder for everything the demo makes.")] =
    Path("nidusbook-demo"),
    patients: Annotated[int, typer.Option(min=20, max=5000)] = 150,
    seed: Annotated[int, typer.Option(help="Another seed, another fictional service.")] = 1,
) -> None:
    """Make a fictional service, take it in, freeze it, and write all reports."""
    from analyses.commands.demo import run_demo

    with _plain_errors(), _progress() as tell:
        lines = run_demo(out, patients=patients, seed=seed, progress=tell, doors=_doors())
    _say(*lines)


@app.command()
def workbook(out: Annotated[Path, typer.Argument(metavar="OUT.xlsx")]) -> None:
    """Write a blank entry workbook, with drop-down lists, units and notes."""
    from registry.intake.workbook_write import write_workbook

    with _plain_errors():
        write_workbook(out)
    _say(f"Entry workbook written to {out}. Its first sheet says how to fill it in.")


@app.command()
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
) -> None:
    """Check a file cell by cell and take it into the registry."""
    from registry import open_registry
    from registry.intake.take_in import take_in_file

    if draft:
        if mapping is None:
            _refuse("--draft needs --mapping FILE.toml, the file to write the proposal to.")
        from registry.old_sheets.draft.drafting import draft_mapping

        with _plain_errors(), _progress() as tell:
            told = draft_mapping(source, mapping, progress=tell)
        _say(*told)
        return
    if not registry:
        _refuse("Say which registry takes the file in: --registry PATH.")
    with _plain_errors(), _progress() as tell:
        outcome = take_in_file(
            source, open_registry(registry), by=by, dry_run=try_, replace=replace, progress=tell,
            **({"mapping": mapping} if mapping else {}))
    if outcome.exit_code == WRONG_CALL:
        _refuse(outcome.summary)
    _say(outcome.summary)
    raise typer.Exit(outcome.exit_code)


@app.command()
def check(registry: Registry) -> None:
    """Show data quality: completeness, open queries, follow-up due, the audit trail."""
    from registry import open_registry
    from registry.quality.state import quality_report

    with _plain_errors(), _progress() as tell:
        tell("reading the registry")
        told = quality_report(open_registry(registry, create=False))
    _say(*told.lines)
    raise typer.Exit(DATA_ERRORS if told.errors else DONE)


@app.command()
def freeze(
    registry: Registry,
    out: Annotated[Path, typer.Option(help="Folder of the freeze; it is written into it.")],
    purpose: Annotated[Purpose, typer.Option(
        help="research takes only patients who agreed; quality takes all, where local rules "
        "permit.")] = Purpose.research,
) -> None:
    """Write the dated, hashed, read-only data set that every analysis starts from."""
    from registry import open_registry
    from registry.freeze.freeze_reading import read_freeze
    from registry.freeze.freeze_writing import make_freeze

    with _plain_errors(), _progress() as tell:
        tell("freezing the registry")
        made = make_freeze(open_registry(registry, create=False), out, purpose=purpose.value)
        hash_ = read_freeze(made).manifest["freeze_hash"]
    _say(f"Freeze for {purpose.value} written to {out}.", f"Its hash: {hash_}",
         "It holds study codes and stays inside the service.")


@app.command()
def plan(out: Annotated[Path, typer.Argument(metavar="OUT.toml")]) -> None:
    """Write an analysis plan to change, before the data are looked at."""
    from datetime import date

    from analyses.models.plan_draft import write_draft_plan

    with _plain_errors():
        write_draft_plan(out, date.today())
    _say(f"Analysis plan written to {out}, dated today. Its head says what may be changed.",
         f"Then: nidusbook report FREEZE --out DIR --plan {out}")


@app.command()
def report(
    frozen: Annotated[Path, typer.Argument(metavar="FREEZE")],
    out: Annotated[Path, typer.Option(help="Folder of the report.")],
    for_: Annotated[Audience, typer.Option("--for", help="Whom it is for.")] = Audience.series,
    case: Annotated[str | None, typer.Option(
        help="Study code of the case, for a conference.")] = None,
    limits: Annotated[Path | None, typer.Option(
        help="The service's own practice limits (TOML).")] = None,
    plan: Annotated[Path | None, typer.Option(
        help="Plan file (TOML) of the technique models.")] = None,
    project: Annotated[Path | None, typer.Option(
        help="Words of the quality project (TOML): aim, measures, changes.")] = None,
    published: Annotated[Path | None, typer.Option(
        help="Own table (CSV) of published series, for the case series.")] = None,
) -> None:
    """Write the documents, figures, tables and results.json of a freeze."""
    from analyses.documents.report_making import write_report

    with _plain_errors(), _progress() as tell:
        lines = write_report(frozen, out, audience=for_.value, case=case, limits=limits,
                             plan=plan, project=project, published=published, progress=tell)
    _say(*lines)


@app.command()
def verify() -> None:
    """Work out the published worked examples on this machine and print the agreement."""
    from rich.table import Table

    from analyses.commands.worked_examples import checks

    table = Table("Worked example", "Found", "Expected", "Agrees", "Source", box=None)
    done = []
    with _plain_errors(), _progress() as tell:
        for one in checks():
            tell(one.what)
            done.append(one)
            found, expected = (
                v if isinstance(v, str) else f"{v:.6g}" for v in (one.found, one.expected))
            table.add_row(one.what, found, expected, "yes" if one.agrees else "NO", one.source)
    _console().print(table)
    wrong = [one for one in done if not one.agrees]
    _say(f"{len(done) - len(wrong)} of {len(done)} worked examples agree.")
    raise typer.Exit(DATA_ERRORS if wrong else DONE)


def main() -> None:
    """Entry point of the command `nidusbook`."""
    app()


def open_freeze(path: str | Path, *, patients: int = 120, seed: int = 1) -> Freeze:
    """Read a freeze for a notebook; the demo's own is made first where it is not there yet.

    Only a path like `nidusbook-demo/freeze-research` (or `freeze-quality`) is made, with
    `patients` fictional patients: a path that was mistyped must not turn into invented numbers.
    Raises FreezeError where there is no freeze at the path, or it was changed.
    """
    from analyses.commands.demo import make_demo, wanted_demo
    from registry import read_freeze

    frozen = Path(path)
    if wanted_demo(frozen):
        make_demo(frozen.parent, patients=patients, seed=seed, progress=lambda *words: None,
                  doors=_doors())
    return read_freeze(frozen)


def open_old_sheet(sheet: str | Path, mapping: str | Path = "") -> OldSheetLook:
    """Look at an old spreadsheet in a notebook, with its mapping if there is one yet.

    Nothing is taken in. The demo's own sheet (`nidusbook-demo/old-sheet.xlsx`) is made first
    where it is not there yet.
    """
    from analyses.commands.old_sheet_look import open_old_sheet as look

    return look(Path(sheet), Path(mapping) if mapping else None, _old_sheet_doors())


def _old_sheet_doors() -> dict[str, Callable[..., object]]:
    """What a look at an old spreadsheet needs of intake, store and the fictional sheet."""
    from registry import open_registry
    from registry.intake.take_in import take_in_file
    from registry.old_sheets.draft.drafting import draft_mapping
    from registry.privacy.study_codes import StudyCodes
    from synthetic_cohort.old_sheet import old_sheet
    from synthetic_cohort.old_sheet_compare import lost_values, wrong_values
    from synthetic_cohort.old_sheet_mapping import finished_mapping

    return {
        "draft_mapping": draft_mapping, "take_in_file": take_in_file,
        "open_registry": open_registry, "old_sheet": old_sheet,
        "finished_mapping": finished_mapping, "study_codes": StudyCodes,
        "wrong_values": wrong_values, "lost_values": lost_values,
    }


def _doors() -> dict[str, Callable[..., object]]:
    """What the demo needs of the store: only this module may open one."""
    from registry import open_registry
    from registry.freeze.freeze_writing import make_freeze
    from registry.intake.take_in import take_in_file
    from registry.intake.workbook_write import fill_workbook
    from synthetic_cohort import CohortSettings, make_cohort
    from synthetic_cohort.quality_words import quality_words

    return {
        # The demo's service learns, and changes its practice at a known procedure.
        "make_cohort": partial(make_cohort, settings=CohortSettings.demo()),
        "fill_workbook": fill_workbook, "take_in_file": take_in_file,
        "quality_words": quality_words,
        "open_registry": open_registry, "make_freeze": make_freeze,
    }


@contextmanager
def _plain_errors() -> Iterator[None]:
    """Faults of the call or the file end in a sentence and exit code 2, never in a traceback."""
    from registry.problems.sentence_error import SentenceError

    try:
        yield
    except SentenceError as error:
        _refuse(str(error))


@contextmanager
def _progress() -> Iterator[Callable[..., None]]:
    """A line that says what is being worked on; nothing where the output is not a terminal."""
    console = _console(stderr=True)
    if not console.is_terminal:
        yield lambda words, done=0, total=0: None
        return
    with console.status("starting") as status:
        yield lambda words, done=0, total=0: status.update(_progress_words(words, done, total))


def _progress_words(words: str, done: int, total: int) -> str:
    """`reading the workbook: 3 of 10 …`, or the words alone where there is nothing to count."""
    return f"{words}: {done:,} of {total:,} …" if total else f"{words} …"


def _console(stderr: bool = False) -> Console:
    from rich.console import Console

    return Console(stderr=stderr, highlight=False, soft_wrap=True)


def _say(*lines: str) -> None:
    for line in lines:
        typer.echo(line)


def _refuse(sentence: str) -> NoReturn:
    typer.echo(sentence, err=True)
    raise typer.Exit(WRONG_CALL)
