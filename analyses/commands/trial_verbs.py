"""Verbs that need no data of one's own: the demo, and the published worked examples."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from analyses.commands.speaking import (
    DATA_ERRORS,
    DONE,
    Told,
    console,
    progress,
)
from registry.problems.printed_path import shorter_path


def demo(
    out: Annotated[Path, typer.Option(help="Folder for everything the demo makes.")] =
    Path("nidusbook-demo"),
    patients: Annotated[int, typer.Option(min=20, max=5000)] = 150,
    seed: Annotated[int, typer.Option(help="Another seed, another fictional service.")] = 1,
) -> Told:
    """Make a fictional service, take it in, freeze it, and write all reports."""
    from analyses.commands.demo import run_demo

    with progress() as tell:
        return Told("demo", run_demo(
            shorter_path(out), patients=patients, seed=seed, progress=tell))


def verify() -> Told:
    """Work out the published worked examples on this machine and print the agreement."""
    from analyses.commands.worked_examples import agreement_table, worked_out

    with progress() as tell:
        done = worked_out(tell)
    console().print(agreement_table(done))
    agree = sum(one.agrees for one in done)
    return Told("verify", (f"{agree} of {len(done)} worked examples agree.",),
                DONE if agree == len(done) else DATA_ERRORS)
