"""A freeze of an older version, read as this version would have written it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pandas as pd

from registry.freeze.freeze_error import FreezeError
from registry.schema import TableSpec
from registry.schema.migrations.carried_over import CarriedOver, carry_over
from registry.schema.migrations.change_steps import Row
from registry.schema.migrations.numbered import schema_version, since


def read_older(
    folder: Path, files: Mapping[str, Path], specs: Mapping[str, TableSpec], version: int,
) -> tuple[dict[str, pd.DataFrame], tuple[str, ...]]:
    """The tables of a freeze of `version`, typed by the schema now, and sentences on what was done.

    `files` are its Parquet files by table, `specs` the tables wanted; one without a file is empty.
    Raises FreezeError where a value cannot be carried over.
    """
    try:
        carried = carry_over({name: _rows(file) for name, file in files.items()}, since(version))
        tables = {name: _typed(spec, carried.tables.get(name, []))
                  for name, spec in specs.items()}
    except (TypeError, ValueError) as fault:
        raise FreezeError(
            f"The freeze {folder} is of schema {version} and cannot be read as schema "
            f"{schema_version()}: {fault}. Freeze the registry again."
        ) from fault
    return tables, _sentences(folder, version, carried)


def _rows(file: Path) -> list[Row]:
    import pyarrow.parquet as pq

    rows: list[Row] = pq.read_table(file).to_pylist()
    return rows


def _typed(spec: TableSpec, rows: list[Row]) -> pd.DataFrame:
    names = rows[0] if rows else ()
    return spec.typed(pd.DataFrame(
        {name: pd.Series([row[name] for row in rows], dtype="object") for name in names},
        index=pd.RangeIndex(len(rows)),
    ))


def _sentences(folder: Path, version: int, carried: CarriedOver) -> tuple[str, ...]:
    rows = ", ".join(f"{name} {count}" for name, count in sorted(carried.changed.items()))
    changed = f"rows read differently: {rows}" if rows else "every row is read as it stands"
    return (
        f"The freeze {folder} is of version {version} and was read as version "
        f"{schema_version()} ({changed}); its files and its manifest are as they were.",
        *(f"Version {one.number}: {one.sentence}" for one in since(version)),
        *(f"{told} The files of the freeze keep them." for told in carried.told),
    )
