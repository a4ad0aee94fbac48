"""`TechniqueTerm`: one declaration of a way of doing things that outcomes are asked by.

The default plan, the tables the models are fitted on, their words, tables and pictures, and the
columns of a study's frames are all drawn from it. To add a term is to declare it in
`technique_terms`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum, IntEnum

import pandas as pd

from analyses.measures.measure import Measure
from analyses.models.technique_rows import TechniqueRows
from analyses.statistics.regression.terms import Term

Work = Callable[[TechniqueRows], pd.Series]
"""Rows of sessions → a value a unit, indexed by `TechniqueRows.units` or some of them."""


class Kind(Enum):
    """What its values are."""

    NUMBER = "number"
    YES_NO = "yes/no"
    LEVELS = "choice"


class Step(IntEnum):
    """Where it stands in the chain of causes: a later step follows from the earlier ones."""

    INJECTED = 0
    REFLUX = 1
    PASSAGE = 2


@dataclass(frozen=True)
class Applies:
    """To which units a question can be put at all.

    where: yes or no a unit; elsewhere: why it has no meaning in the others.
    """

    where: Work
    elsewhere: str


@dataclass(frozen=True, kw_only=True)
class TechniqueTerm:
    """One technique variable.

    id: its column. label, definition: its words. works: how it is worked out. unit: of its
    values; one: the unit of a single one. per: the step of its ratio, in step_unit (else in
    `unit`), and `more`, the word for a higher value. levels: of a choice, in order; reference:
    the level the plan names to compare with (else the first that was seen). applies: None where
    every unit has a value. step: its place in the chain of causes. ends: the outcomes of whose own
    chain it is the last step, and for which it is not offered. of_injection: what it is of a
    single injection, where a study shows it. uses: the fields it rests on, as "table.field".
    """

    id: str
    label: str
    definition: str
    works: Work
    kind: Kind = Kind.NUMBER
    unit: str = ""
    one: str = ""
    per: float = 1.0
    step_unit: str = ""
    more: str = "more"
    levels: tuple[str, ...] = ()
    reference: str | None = None
    applies: Applies | None = None
    step: Step = Step.INJECTED
    ends: tuple[Measure, ...] = ()
    of_injection: str = ""
    uses: tuple[str, ...] = ()

    @property
    def exposure(self) -> Term:
        """As it enters a model where the plan does not say otherwise."""
        form = "factor" if self.kind is Kind.LEVELS else "linear"
        return Term((self.id,), form, reference=self.reference, per=self.per)

    def offered_for(self, outcome: Measure) -> bool:
        """Whether an outcome may be asked by it."""
        return outcome not in self.ends

    def step_words(self, per: float) -> str:
        """The step of a ratio: `0.1 mL/min`, `pedicle`; none of a choice or of yes and no."""
        if self.kind is not Kind.NUMBER:
            return ""
        if per == 1:
            return self.step_unit or self.one or self.unit
        return f"{per:g} {self.step_unit or self.unit}"
