"""The files of a freeze: Parquet tables with plain types, and their hashes."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pandas as pd

from registry.schema import TableSpec
from registry.schema.canonical import plain_values


def write_table(frame: pd.DataFrame, spec: TableSpec, path: Path) -> None:
    """Write a typed table as Parquet: string, int64, double, boolean and date columns."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    types = {
        "text": pa.string(), "choice": pa.string(), "int": pa.int64(), "number": pa.float64(),
        "yes/no": pa.bool_(), "date": pa.date32(),
    }
    columns = {
        field.name: pa.array(plain_values(frame[field.name], field.type), types[field.type])
        for field in spec.fields
    }
    pq.write_table(pa.table(columns), path)


def read_table(path: Path, spec: TableSpec) -> pd.DataFrame:
    """Read a table back, typed by the schema; a field it does not have yet is blank."""
    import pyarrow.parquet as pq

    table = pq.read_table(path)
    columns = {
        name: pd.Series(table[name].to_pylist(), dtype="object") for name in table.column_names
    }
    return spec.typed(pd.DataFrame(columns))


def file_sha256(path: Path) -> str:
    """SHA-256 of a file, as 64 hexadecimal digits."""
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while block := file.read(1 << 20):
            digest.update(block)
    return digest.hexdigest()
