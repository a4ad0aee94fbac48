"""The outcomes registry: what is recorded, its checks, its store and its freezes.

`open_registry` and `read_freeze` are the two doors; both load what they need when called.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from registry.freeze.freeze_reading import read_freeze
    from registry.store.registry import open_registry

__all__ = ["open_registry", "read_freeze"]


def __getattr__(name: str) -> Any:
    """Load a door only when somebody goes through it (importing pandas takes a while)."""
    if name == "open_registry":
        from registry.store.registry import open_registry

        return open_registry
    if name == "read_freeze":
        from registry.freeze.freeze_reading import read_freeze

        return read_freeze
    raise AttributeError(f"module 'registry' has no attribute {name!r}")
