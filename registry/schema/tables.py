"""Tables: how one is declared, and what the generators read of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, ClassVar

from registry.schema.fields import Column, FieldSpec

if TYPE_CHECKING:
    import pandas as pd
    import pandera.pandas as pa


@dataclass(frozen=True)
class TableSpec:
    """A table: its fields in order, its key, and the table its rows hang on.

    `parent_key` are the columns that must be found in the parent table (none where
    `parent` is None). A row of a table that is `only_added` is never changed or removed by an
    intake; only its fields that are `filled_later` may be filled, once. Rows of a table that is
    `offered` are handed out with their key, to be filled in: with nothing beside it there is none.
    """

    name: str
    label: str
    definition: str
    parent: str | None
    parent_key: tuple[str, ...]
    fields: tuple[FieldSpec, ...]
    only_added: bool = False
    offered: bool = False

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

    @cached_property
    def checks(self) -> pa.DataFrameSchema:
        """The pandera schema that a typed table must fit: types, ranges, lists, and no more."""
        import pandera.pandas as pa

        return pa.DataFrameSchema(
            {field.name: _pandera_column(field) for field in self.fields}, strict=True)

    def empty(self) -> pd.DataFrame:
        """A table with all columns, typed, and no rows."""
        return self._empty.copy()

    @cached_property
    def _empty(self) -> pd.DataFrame:
        import pandas as pd

        return pd.DataFrame({f.name: pd.Series(dtype=f.dtype) for f in self.fields})

    def typed(self, frame: pd.DataFrame) -> pd.DataFrame:
        """`frame` with this table's columns in order and typed; absent ones are blank.

        Raises ValueError or TypeError where a value does not fit its column's type: cells are
        turned into values (and refused one by one) before a table is made.
        """
        import pandas as pd

        if not len(frame):
            return self.empty().set_axis(frame.index)
        columns = {
            f.name: frame[f.name].astype(f.dtype)
            if f.name in frame
            else pd.Series(pd.NA if f.dtype != "float64" else float("nan"),
                           index=frame.index).astype(f.dtype)
            for f in self.fields
        }
        return pd.DataFrame(columns, index=frame.index)


class Table:
    """What every table is declared as: a class whose attributes are its fields, in order.

    `class Lesions(Table, table="lesions", label="Lesions", definition="A row an AVM.")`, with the
    parent table and its key where the rows hang on another; `spec` is what the generators read.
    """

    spec: ClassVar[TableSpec]

    def __init_subclass__(
        cls, *, table: str, label: str, definition: str, parent: str | None = None,
        parent_key: tuple[str, ...] = (), only_added: bool = False,
        offered: bool = False,
    ) -> None:
        fields = tuple(v.spec for v in vars(cls).values() if isinstance(v, Column))
        cls.spec = TableSpec(table, label, definition, parent, parent_key, fields,
                             only_added, offered)


def _pandera_column(spec: FieldSpec) -> pa.Column:
    import pandera.pandas as pa

    limits = {"ge": spec.minimum, "gt": spec.above, "le": spec.maximum}
    checks = [getattr(pa.Check, name)(limit) for name, limit in limits.items()
              if limit is not None]
    if spec.values:
        checks.append(pa.Check.isin(list(spec.values)))
    if spec.pattern:
        checks.append(pa.Check.str_matches(spec.pattern))
    return pa.Column(spec.dtype, checks=checks, nullable=not spec.required, title=spec.label,
                     description=spec.definition)
