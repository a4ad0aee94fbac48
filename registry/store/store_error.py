"""The one error the store raises on purpose."""

from __future__ import annotations

from registry.problems.sentence_error import SentenceError


class RegistryError(SentenceError):
    """The registry cannot be opened or written; the message is one sentence for a person."""
