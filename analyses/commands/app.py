"""The command line: its verbs in the order of a service's work. No logic stands here.

Exit codes: 0 done (queries included), 1 the data have errors, 2 the call or the file was wrong
(nothing was written). Everything that a run takes long over shows progress.
"""

from __future__ import annotations

from typing import Annotated

import typer

from analyses.commands.case_verbs import cases
from analyses.commands.freeze_verbs import freeze, plan, report
from analyses.commands.monitor_verbs import monitor
from analyses.commands.notebook_verbs import notebook
from analyses.commands.registry_verbs import (
    changes,
    check,
    dictionary,
    follow_up,
    intake,
    workbook,
)
from analyses.commands.speaking import spoken
from analyses.commands.trial_verbs import demo, verify

VERBS = (demo, workbook, dictionary, intake, check, follow_up, changes, cases, monitor, freeze,
         plan, report, notebook, verify)

app = typer.Typer(
    name="nidusbook", no_args_is_help=True, add_completion=False, rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Outcomes registry and statistics notebooks for brain AVM embolization. It describes "
    "groups of patients; it never decides treatment.",
)
for verb in VERBS:
    app.command()(spoken(verb))


def _print_version(wanted: bool) -> None:
    from importlib.metadata import version

    if wanted:
        typer.echo(f"nidusbook {version('nidusbook')}")
        raise typer.Exit


@app.callback()
def nidusbook(
    version: Annotated[bool, typer.Option(
        "--version", callback=_print_version, is_eager=True,
        help="Print the version and leave.")] = False,
) -> None:
    """What stands before a verb: `--version` answers by itself."""


def main() -> None:
    """Entry point of the command `nidusbook`."""
    app()
