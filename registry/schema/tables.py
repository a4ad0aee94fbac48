"""Tables as the generators see them, read out of the pandera models."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import pandas as pd
import pandera.pandas as pa

from registry.schema.fields import FieldSpec


@dataclass(frozen=True)
class TableSpec:
    """A table: its fields in order, its key, and the table its rows hang on.

    `parent_key` are the columns that must be found in the parent table (none where
    `parent` is None).
    """

    name: str
    label: str
    definition: str
    parent: str | None
    parent_key: tuple[str, ...]
    fields: tuple[FieldSpec, ...]
    model: type[pa.DataFrameModel]

    @cached_property
    def by_name(self) -> Mapping[str, FieldSpec]:
        """Field name → field."""
        return {spec.name: spec for spec in self.fields}

    @property
    def columns(self) -> tuple[str, ...]:
        """Field names in order."""
        return tuple(spec.name for spec in self.fields)

    @property
    def key(self) -> tuple[str, ...]:
        """Names of the key fields, outermost first."""
        return tuple(spec.name for spec in self.fields if spec.key)

    @property
    def required(self) -> tuple[str, ...]:
        """Names of the required fields, the key among them."""
        return tuple(spec.name for spec in self.fields if spec.required)

    def empty(self) -> pd.DataFrame:
        """A table with all columns, typed, and no rows."""
        return pd.DataFrame({f.name: pd.Series(dtype=f.dtype) for f in self.fields})

    def typed(self, frame: pd.DataFrame) -> pd.DataFrame:
        """`frame` with this table's columns in order and typed; absent ones are blank.

        Raises ValueError or TypeError where a value does not fit its column's type: cells are
        turned into values (and refused one by one) before a table is made.
        """
        columns = {
            f.name: frame[f.name].astype(f.dtype)
            if f.name in frame
            else pd.Series(pd.NA if f.dtype != "float64" else float("nan"),
                           index=frame.index).astype(f.dtype)
            for f in self.fields
        }
        return pd.DataFrame(columns, index=frame.index)


def describe(model: type[pa.DataFrameModel]) -> TableSpec:
    """The table behind a pandera model.

    pandera's own `get_metadata()` fails on models with custom dtypes, so the columns of
    `to_schema()` are read instead.
    """
    schema = model.to_schema()
    about = dict(model.Config.metadata or {})
    fields = tuple(
        replace(column.metadata["spec"], name=name) for name, column in schema.columns.items()
    )
    return TableSpec(
        name=about["table"],
        label=about["label"],
        definition=about["definition"],
        parent=about.get("parent"),
        parent_key=tuple(about.get("parent_key", ())),
        fields=fields,
        model=model,
    )
