"""The one error a freeze raises on purpose."""

from __future__ import annotations


class FreezeError(Exception):
    """A freeze cannot be written or read; the message is one sentence for a person."""

    def _render_traceback_(self) -> list[str]:
        """In a notebook the sentence stands alone, without the calls that led to it."""
        return [str(self)]
