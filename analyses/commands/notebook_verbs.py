"""The verb of the notebooks: an executed copy of one of them."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from analyses.commands.speaking import Told, progress


def notebook(
    name: Annotated[str, typer.Argument(metavar="NAME", help="Which one: case-series, …")],
    start: Annotated[Path, typer.Argument(
        metavar="FREEZE", help="Its freeze; for old-spreadsheet, the spreadsheet.")],
    out: Annotated[Path, typer.Option(help="Folder of the executed copy.")],
    case: Annotated[str | None, typer.Option(
        help="Study code of the case, for conference-case.")] = None,
    plan: Annotated[Path | None, typer.Option(
        help="Plan file (TOML), for technique-model.")] = None,
    project: Annotated[Path | None, typer.Option(
        help="Words of the quality project (TOML), for quality-monitoring.")] = None,
    published: Annotated[Path | None, typer.Option(
        help="Own table (CSV) of published series, for literature.")] = None,
    mapping: Annotated[Path | None, typer.Option(
        help="Mapping file (TOML), for old-spreadsheet.")] = None,
) -> Told:
    """Run a notebook on a freeze and write the executed copy."""
    from analyses.commands.notebook_copy import executed_copy

    paths = {"PLAN": plan, "PROJECT": project, "SERIES": published, "MAPPING": mapping}
    choices = {key: str(path.absolute()) for key, path in paths.items() if path}
    with progress() as tell:
        return Told("notebook", executed_copy(
            name, start, out, choices={**({"CASE": case} if case else {}), **choices},
            progress=tell))
