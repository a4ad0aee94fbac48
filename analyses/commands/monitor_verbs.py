"""The verb that declares a monitoring plan and looks again, and how it writes to the registry."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from analyses.commands.registry_verbs import Registry
from analyses.commands.speaking import DONE, CallError, Told, progress
from analyses.commands.store_opened import store_opened

if TYPE_CHECKING:
    from analyses.monitoring.looking_again import Look
    from registry.store.registry import Registry as Store


def monitor(
    registry: Registry,
    plan: Annotated[Path | None, typer.Option(
        help="The plan to declare (TOML): measure, baseline, planned period, changes.")] = None,
    by: Annotated[str | None, typer.Option(help="Code of who declares or looks.")] = None,
    chart: Annotated[str, typer.Option(
        help="A chart to be written alone with its words, such as cusum. Needs --out.")] = "",
    out: Annotated[Path | None, typer.Option(
        help="The file of --chart: .pdf, .svg or .png.")] = None,
) -> Told:
    """Declare a dated monitoring plan; look again, and add to the log of signals."""
    if bool(chart) != (out is not None):
        raise CallError("--chart NAME and --out FILE go together.")
    from datetime import date

    from analyses.monitoring.looking_again import (
        NO_PLAN,
        limit_declared,
        log_rows,
        look_again,
        with_rows,
    )
    from analyses.monitoring.plan_file import EXAMPLE, read_plan_file

    today = date.today()
    declared = read_plan_file(plan, today) if plan else None
    store = store_opened(registry, create=False)
    with progress() as tell:
        tell("looking again" if declared is None else "declaring the plan")
        units, freeze_hash = _frozen(store)
        new = {} if declared is None else declared.rows(today)
        looks = look_again(with_rows(units, new))
        for row in new.get("monitoring_plans", ()):
            row |= limit_declared(next(k for k in looks if k.plan.code == row["plan_code"]))
        signals = log_rows(looks, today, freeze_hash)
        if new or signals:
            name = f"signals-{freeze_hash[:12]}" if declared is None else f"plan-{declared.code}"
            _enter(store, {**new, **({"signals": signals} if signals else {})}, name, by)
    lines = [line for look in looks for line in look.lines]
    if out is not None:
        lines.append(_chart_written(looks, chart, out))
    return Told("monitor", lines or (NO_PLAN, *EXAMPLE.splitlines()))


def _chart_written(looks: list[Look], name: str, out: Path) -> str:
    """The chart of the newest plan written to its file. Raises CallError where there is none."""
    from analyses.documents.quality.single_chart import single_chart, words_of
    from analyses.renderers.single_picture import write_picture

    found = looks[0].found if looks else None
    if found is None:
        raise CallError("There is no chart: no plan is declared, or no outcome is known.")
    picture = single_chart(found, name)
    write_picture(picture, out, words=words_of(picture, looks[0].plan))
    return f"Chart: {out}"


def _frozen(store: Store) -> tuple[Any, str]:
    """The units of the registry as it stands, by a freeze for quality, and its hash."""
    from analyses.population.unit_frames import units_of
    from registry.freeze.freeze_reading import read_freeze
    from registry.freeze.freeze_writing import make_freeze

    with tempfile.TemporaryDirectory() as folder:
        frozen = read_freeze(make_freeze(store, Path(folder) / "freeze", purpose="quality"))
        return (units_of(frozen.tables, manifest=frozen.manifest),
                frozen.manifest["freeze_hash"])


def _enter(
    store: Store, tables: Mapping[str, Sequence[Mapping[str, Any]]], name: str, by: str | None,
) -> None:
    """Rows taken in by the front door, all or none. Raises CallError with what was wrong.

    They are read and checked once: a trial first, because an intake holds back what it refuses.
    """
    import pandas as pd

    from registry.intake.source_reading import read_source
    from registry.intake.take_in import take_in_batch

    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / name
        source.mkdir()
        for table, rows in tables.items():
            pd.DataFrame(rows).to_csv(source / f"{table}.csv", index=False)
        batch = read_source(source, existing=store.tables())
        tried = take_in_batch(batch, source, store, by=by, replace=False, dry_run=True)
        if tried.exit_code != DONE:
            raise CallError(f"Nothing was written. {tried.summary}")
        take_in_batch(batch, source, store, by=by, replace=False, dry_run=False)
