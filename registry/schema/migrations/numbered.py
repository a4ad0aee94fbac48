"""The migrations, in order; the version of the schema is the number of the last.

A field that is only added, starts blank and takes nothing from another needs no migration.
"""

from __future__ import annotations

from dataclasses import dataclass

from registry.schema.migrations.change_steps import RenameField, Step


@dataclass(frozen=True)
class Migration:
    """The way from the version before to version `number`.

    `sentence` tells the user what is different now. `steps` are done in order, each to what the
    one before left; there are none where data of before hold as they stand.
    """

    number: int
    sentence: str
    steps: tuple[Step, ...] = ()


MIGRATIONS: tuple[Migration, ...] = (
    Migration(
        2,
        "An event may be attributed as \"not reviewed\" and then counts as one that is not "
        "unrelated; a missing feeding artery, or a missing urgency of an operation, is asked for "
        "and keeps no patient out any more.",
    ),
)


def schema_version() -> int:
    """The version of the schema as it stands now."""
    return MIGRATIONS[-1].number


def since(version: int) -> tuple[Migration, ...]:
    """The migrations that data of `version` (1 is the first) have not been through, in order."""
    return tuple(one for one in MIGRATIONS if one.number > version)


@dataclass(frozen=True)
class FormerName:
    """What a field was called: its name or label of before, its name now, the last version."""

    heading: str
    now: str
    until: int


def former_names(table: str) -> tuple[FormerName, ...]:
    """What the fields of a table were called in earlier versions, the newest first."""
    found: list[FormerName] = []
    now: dict[str, str] = {}
    for migration in reversed(MIGRATIONS):
        for step in migration.steps:
            if isinstance(step, RenameField) and step.table == table:
                now[step.old] = now.get(step.new, step.new)
                found += [FormerName(heading, now[step.old], migration.number - 1)
                          for heading in (step.old, step.label) if heading]
    return tuple(found)
