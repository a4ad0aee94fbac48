"""A registry opened for a verb; what was done to it on opening is said at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from registry.store.registry import Registry


def store_opened(place: str, *, create: bool = True, bring_up: bool = True) -> Registry:
    """Open a registry as `open_registry` does, and print that it was brought up, if it was.

    Printed here and not at the end of the verb: it is done and stays so, whatever becomes of the
    rest of the verb's work.
    """
    from registry import open_registry

    registry = open_registry(place, create=create, bring_up=bring_up)
    for line in registry.opening:
        typer.echo(line)
    return registry
