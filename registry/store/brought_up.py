"""What is said of a registry of an older version that was brought up on opening."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from registry.schema.migrations.numbered import schema_version
from registry.store.older_version import Done


def brought_up(
    shown: str, version: int, done: Sequence[Done], held: int, copy: Path | None,
) -> tuple[str, ...]:
    """Sentences: from where to where, what is different, how many rows, where the copy lies.

    held: the rows that are kept out, before as after.
    """
    lines = [f"{shown} was of version {version} and is now of version {schema_version()}."]
    for one in done:
        lines += [f"Version {one.migration.number}: {one.migration.sentence}", _rows(one)]
        lines += [f"{told} The audit trail keeps them." for told in one.told]
    if held:
        lines.append(
            f"Rows kept out: {held}, as before. Take their source in again: what kept them out may "
            "be a question now."
        )
    lines.append(
        f"The registry as it was is kept in {copy}." if copy else
        "The audit trail keeps every row as it was; a database on a server is not copied."
    )
    return tuple(lines)


def _rows(done: Done) -> str:
    held = f", and of {done.held} held back" if done.held else ""
    if not done.changed:
        return f"No row had to be changed{held}."
    return f"Rows changed: {_by_table(done.changed)}{held}; each has its entry in the audit trail."


def _by_table(changed: Mapping[str, int]) -> str:
    return ", ".join(f"{name} {count}" for name, count in sorted(changed.items()))
