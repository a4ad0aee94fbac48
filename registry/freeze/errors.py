"""The one error a freeze raises on purpose."""

from __future__ import annotations


class FreezeError(Exception):
    """A freeze cannot be written or read; the message is one sentence for a person."""
