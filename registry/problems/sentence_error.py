"""Errors that a person reads: one sentence, in a notebook too."""

from __future__ import annotations


class SentenceError(Exception):
    """An error whose message is whole sentences for a person."""

    def _render_traceback_(self) -> list[str]:
        """In a notebook the sentences stand alone, without the calls that led to them."""
        return [str(self)]
