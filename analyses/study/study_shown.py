"""What a study, and what it answers, shows of itself in a notebook or a terminal."""

from __future__ import annotations

from abc import ABC, abstractmethod

from analyses.content.blocks import Section
from analyses.documents.notebook_show import Shown


class ShowsItself(ABC):
    """Something that is shown as sections, through the same writer as the documents."""

    @abstractmethod
    def content(self) -> tuple[Section, ...]:
        """What is shown."""

    def _repr_html_(self) -> str:
        return Shown(self.content()).html

    def __repr__(self) -> str:
        return repr(Shown(self.content())).strip()
