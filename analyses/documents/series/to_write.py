"""What only the authors can write, marked so that it is not overlooked."""

from __future__ import annotations

from analyses.content.blocks import Section, plain


def introduction() -> Section:
    """A place for the question and its background."""
    return Section("Introduction", (plain(
        "[For the authors: what is known of embolization before resection and what is not, and the "
        "question this series was meant to answer, as it stood before the data were seen.]"),))


def discussion() -> Section:
    """A place for what it means."""
    return Section("Discussion", (plain(
        "[For the authors: the main results in words; how they compare with published series of "
        "the same unit of analysis; what else could explain them; to which patients and services "
        "they apply.]"),))


def declarations() -> Section:
    """Statements that journals ask for."""
    return Section("Declarations", (plain(
        "[For the authors: ethics approval and consent, funding, competing interests, who did "
        "what, where the data can be asked for. Study codes never leave the service.]"),))
