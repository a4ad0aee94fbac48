"""The store: where the registry's rows are kept, with every change.

`open_registry` opens a SQLite file by its path or PostgreSQL by its URL; `Registry.take_in`
takes a batch in and `Registry.tables` gives everything back.
"""

from __future__ import annotations

from registry.store.errors import RegistryError
from registry.store.registry import Registry, open_registry
from registry.store.results import Change, IntakeResult, Snapshot

__all__ = ["Change", "IntakeResult", "Registry", "RegistryError", "Snapshot", "open_registry"]
