"""The one error a freeze raises on purpose."""

from __future__ import annotations

from registry.problems.sentence_error import SentenceError


class FreezeError(SentenceError):
    """A freeze cannot be written or read; the message is one sentence for a person."""
