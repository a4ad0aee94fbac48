"""The one error the store raises on purpose."""

from __future__ import annotations


class RegistryError(Exception):
    """The registry cannot be opened or written; the message is one sentence for a person."""
