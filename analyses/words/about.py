"""What an estimate is called and means, in a clinician's words."""

from __future__ import annotations

from dataclasses import dataclass

from analyses.words.estimate_text import plural


@dataclass(frozen=True)
class About:
    """An estimate's words: a label for tables, a subject for sentences, what is counted over what.

    `subject` is a noun phrase in the singular. `counted` is the numerator, `among` the
    denominator ("{units}" stands for the unit of analysis in the plural).
    """

    label: str
    subject: str
    counted: str
    among: str

    def definition(self, unit: str) -> str:
        """Numerator over denominator in words, for footnotes and lists of definitions."""
        return f"{self.counted} / {self.among}".replace("{units}", plural(unit))


def same_words(said: str, among: str) -> About:
    """Words of an estimate that has one phrase for all its uses."""
    return About(said, said, said, among)
