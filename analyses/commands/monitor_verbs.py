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
    from registry.store.registry import Registry as Store


def monitor(
    registry: Registry,
    plan: Annotated[Path | None, typer.Option(
        help="The plan to declare (TOML): measure, baseline, planned period, changes.")] = None,
    by: Annotated[str | None, typer.Option(help="Code of who declares or looks.")] = None,
) -> Told:
    """Declare a dated monitoring plan; look again, and add to the log of signals."""
    from datetime import date

    from analyses.monitoring.looking_again import NO_PLAN, log_rows, look_again
    from analyses.monitoring.plan_file import EXAMPLE, read_plan_file

    today = date.today()
    declared = read_plan_file(plan, today) if plan else None
    store = store_opened(registry, create=False)
    with progress() as tell:
        if declared is not None:
            tell("declaring the plan")
            _enter(store, declared.rows(today), f"plan-{declared.code}", by)
        tell("looking again")
        units, freeze_hash = _frozen(store)
        looks = look_again(units)
        rows = log_rows(looks, today, freeze_hash)
        if rows:
            _enter(store, {"signals": rows}, f"signals-{freeze_hash[:12]}", by)
    lines = [line for look in looks for line in look.lines]
    return Told("monitor", lines or (NO_PLAN, *EXAMPLE.splitlines()))


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
    """Rows taken in by the front door, all or none. Raises CallError with what was wrong."""
    import pandas as pd

    from registry.old_sheets.front_door import take_in_file

    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / name
        source.mkdir()
        for table, rows in tables.items():
            pd.DataFrame(rows).to_csv(source / f"{table}.csv", index=False)
        tried = take_in_file(source, store, by=by, dry_run=True)
        if tried.exit_code != DONE:
            raise CallError(f"Nothing was written. {tried.summary}")
        take_in_file(source, store, by=by)
