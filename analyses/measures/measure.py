"""`Measure`: one declaration from which everything that is known of a measure is drawn.

Estimates, tables, sentences, figures, methods, checklists, `results.json` and its schema, the
dictionary's "used by" and what may stand beside published series all read the declaration. To
add a measure is to declare it in its topic's module.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import Enum
from typing import TYPE_CHECKING

from analyses.measures.counting import UNKNOWN, shares
from analyses.measures.gate import Known, Verdict, gate
from analyses.measures.measuring import medians
from analyses.measures.places import Place
from analyses.population.unit_frames import GROUPINGS, Units
from analyses.statistics.estimate import Estimate
from analyses.words.about import About
from analyses.words.estimate_text import plural

if TYPE_CHECKING:
    import pandas as pd

Counts = Callable[[Units, str], "pd.DataFrame"]
"""Unit frames and a unit → the frame of that unit with a column `event` (boolean or blank)."""
Notes = Callable[[Units, str], Sequence[str]]
Work = Callable[[Units], list[Estimate]]


class Direction(Enum):
    """Which way is better."""

    HARM = "fewer is better"
    BENEFIT = "more is better"
    NEUTRAL = "neither way"


class SmallCells(Enum):
    """What becomes of a small overall count in files that are published as data."""

    SHOWN = "an outcome: never hidden overall"
    HIDDEN = "a characteristic of patients: held back where few share it"


@dataclass(frozen=True, kw_only=True)
class Measure:
    """What one number means and where it stands.

    id: its name in `results.json`. units: the units of analysis it is given in. label, subject,
    counted, among: its words (see `About`). window_days: how long after a treatment events count.
    shown_in: place → the units shown there. answers: items of reporting standards ("strobe 15").
    comparable: the definition codes of published lines that may stand beside it. uses: the fields
    it rests on, as "table.field". checked_against: the outside value or method it is checked by.
    in_results: False for one that only questions another.
    """

    id: str
    units: tuple[str, ...]
    label: str
    subject: str
    counted: str
    among: str
    kind: str = "proportion"
    direction: Direction = Direction.NEUTRAL
    window_days: int | None = None
    shown_in: Mapping[Place, tuple[str, ...]] = field(default_factory=dict)
    answers: tuple[str, ...] = ()
    comparable: tuple[str, ...] = ()
    small_cells: SmallCells = SmallCells.SHOWN
    uses: tuple[str, ...] = ()
    checked_against: str = ""
    in_results: bool = True

    def __post_init__(self) -> None:
        for place, units in self.shown_in.items():
            strange = [unit for unit in units if unit not in self.units]
            if strange:
                raise ValueError(f"{self.id} is shown in “{place}” per {', '.join(strange)}, but "
                                 f"given per {', '.join(self.units)}.")

    @property
    def about(self) -> About:
        """Its words."""
        return About(self.label, self.subject, self.counted, self.among)

    def definition(self, *units: str) -> str:
        """Numerator over denominator in words; `units` in the singular, all of its own if none."""
        return self.about.definition(" or ".join(map(plural, units or self.units)))

    def estimates(self, units: Units) -> list[Estimate]:
        """Its estimates, overall and by its groupings."""
        raise NotImplementedError(f"{self.id} does not say how it is worked out.")


@dataclass(frozen=True, kw_only=True)
class Share(Measure):
    """A measure that is the share of units with an event.

    counts: the unit frame with `event`. known: which way unknown outcomes can lie (the gate's
    rule). unknown: words on units whose outcome is not known. notes: what the reader must know.
    by: its groupings; `by_unit` for units with others.
    """

    counts: Counts
    known: Known = Known.EITHER_WAY
    unknown: str = UNKNOWN
    notes: Notes | None = None
    by: tuple[str, ...] = GROUPINGS

    def frame(self, units: Units, unit: str) -> pd.DataFrame:
        """The units counted, with `event`."""
        return self.counts(units, unit)

    def verdict(self, units: Units, unit: str) -> Verdict:
        """Whether a point may be given of this unit as a whole (see `gate`)."""
        return gate(self.frame(units, unit), "event", self.known)

    def estimates(self, units: Units) -> list[Estimate]:
        """The share in every unit, overall and by group, each through the gate."""
        return [e for unit in self.units
                for e in self.of(self.frame(units, unit), unit, by=self.by,
                                 notes=self.notes(units, unit) if self.notes else ())]

    def of(
        self, frame: pd.DataFrame, unit: str, *, by: Sequence[str] = (),
        notes: Sequence[str] = (), level: float = 0.95,
    ) -> list[Estimate]:
        """The share of a frame as `frame` gives it, overall and by its columns `by` (text)."""
        return shares(frame, "event", id=self.id, unit=unit, by=by, notes=notes,
                      unknown=self.unknown, known=self.known, level=level)


@dataclass(frozen=True, kw_only=True)
class Spread(Measure):
    """A measurement given as a median with quartiles.

    values: unit frames and a unit → the frame with a column `value`; measure: its unit ("mL").
    """

    values: Counts
    measure: str = ""
    by: tuple[str, ...] = ()
    kind: str = "median"

    def estimates(self, units: Units) -> list[Estimate]:
        """The median in every unit, overall and by group."""
        return [e for unit in self.units for e in self._of(units, unit)]

    def _of(self, units: Units, unit: str) -> list[Estimate]:
        frame = self.values(units, unit)
        return self.of(frame, unit, by=[column for column in self.by if column in frame])

    def of(
        self, frame: pd.DataFrame, unit: str, *, by: Sequence[str] = (), level: float = 0.95,
    ) -> list[Estimate]:
        """The median of a frame as `values` gives it, overall and by its columns `by` (text)."""
        return medians(frame, "value", id=self.id, unit=unit, measure=self.measure, by=by,
                       level=level)


@dataclass(frozen=True, kw_only=True)
class Worked(Measure):
    """A measure worked out together with others by one function: `work` gives all of them.

    parts: ids that `work` gives under this declaration (`baseline.sex.female`), with their words.
    """

    work: Work
    parts: Mapping[str, About] = field(default_factory=dict)

    def estimates(self, units: Units) -> list[Estimate]:
        """Those of `work` that are this measure's."""
        return [e for e in self.work(units) if e.id == self.id or e.id in self.parts]
