"""Events known to lie between two looks: how wide the brackets are, and how much it matters."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from analyses.statistics.arguments import check_level
from analyses.statistics.arrays import Floats, Mask
from analyses.statistics.estimate import Estimate
from analyses.statistics.timetoevent.curves_shown import last_round_time, summary_of_curve
from analyses.statistics.timetoevent.incidence_curves import (
    IncidenceCurves,
    cumulative_incidence,
)
from analyses.statistics.timetoevent.time_inputs import (
    Followed,
    followed,
    rows_text,
    whole_time,
)
from analyses.statistics.timetoevent.time_labels import TimeLabels, beyond_words, unit_name
from analyses.statistics.timetoevent.turnbull import Turnbull, turnbull
from analyses.words import flags
from analyses.words.self_showing import Displayed, Summary

Place = Literal["earliest", "middle", "latest"]
PLACES: tuple[Place, ...] = ("earliest", "middle", "latest")


@dataclass(frozen=True)
class IntervalCensored(Displayed):
    """Events in (last_negative, first_positive]; an infinite end was never seen positive."""

    last_negative: Floats
    first_positive: Floats
    people: Followed
    labels: TimeLabels

    @property
    def seen(self) -> Mask:
        """Rows in which the event was seen."""
        return np.isfinite(self.first_positive)

    @cached_property
    def maximum_likelihood(self) -> Turnbull:
        """Where Turnbull's estimate puts the probability."""
        return turnbull(self.last_negative, self.first_positive)

    @property
    def table(self) -> pd.DataFrame:
        """Turnbull's estimate: a row an interval, `after`, `upto`, its probability, and the
        cumulative incidence at `upto` (the last interval may end at infinity)."""
        found = self.maximum_likelihood
        return pd.DataFrame({"after": found.after, "upto": found.upto, "probability": found.mass,
                             "estimate": np.cumsum(found.mass)})

    def widths(self) -> Estimate:
        """The median width of the intervals in which an event lies; quartiles beside it."""
        wide = (self.first_positive - self.last_negative)[self.seen]
        if wide.size == 0:
            return self._width(None, "median", (flags.NOTHING_COUNTED,))
        beside = tuple(self._width(float(np.quantile(wide, q)), name) for name, q in
                       (("lower quartile", 0.25), ("upper quartile", 0.75), ("maximum", 1.0)))
        return self._width(float(np.median(wide)), "median", (), beside)

    def placed(self, where: Place) -> IncidenceCurves:
        """The ordinary estimate with every event at the earliest, middle or latest time."""
        share = {"earliest": 0.0, "middle": 0.5, "latest": 1.0}[where]
        end = np.where(self.seen, self.first_positive, self.last_negative)
        time = self.last_negative + share * (end - self.last_negative)
        return cumulative_incidence(
            np.where(self.seen, time, self.last_negative), self.seen.astype(int),
            level=self.labels.level, cluster=self.people.cluster, keys=self.people.keys,
            id=f"{self.labels.id}.{where}", unit=self.labels.unit, measure=self.labels.measure,
        )

    def at(self, time: float) -> Estimate:
        """The probability of the event by `time`: Turnbull's estimate.

        Its own sampling interval is not standard (a bootstrap is not valid for it), so the
        limits are the outermost of the ordinary ones with every event placed at the earliest,
        the middle and the latest time it may have had; these three stand beside it. Inside an
        interval in which the estimate is not determined, a straight line, and a flag says so.
        None where one of the three cannot be read so far.
        """
        time = whole_time(time)
        value, words = self._value_at(time)
        placed = tuple(self.placed(where).at(time) for where in PLACES)
        unread = next((e.flags for e in placed if e.value is None), None)
        if unread is not None:
            value, words = None, unread
        lows = [e.low for e in placed if e.low is not None and e.high is not None]
        highs = [e.high for e in placed if e.low is not None and e.high is not None]
        low = min(value, *lows) if value is not None and lows else None
        high = max(value, *highs) if value is not None and highs else None
        return Estimate(
            id=self.labels.id, kind="probability", value=value, low=low, high=high,
            level=self.labels.level, unit=self.labels.unit, n=int(self.seen.size),
            events=int(np.sum(self.first_positive <= time)), clusters=self.people.clusters,
            method="Turnbull; limits the outermost with events placed earliest, middle, latest",
            flags=words, beside=placed,
        )

    def sentence(self, time: float) -> str:
        """What a reader has to know: how many events, how wide the brackets, what it changes."""
        width = self.widths()
        if width.value is None:
            return "No event was seen, so no event lies between two dates."
        early, _, late = (e.value for e in self.at(time).beside)
        widest = self.labels.time(round(float(width.beside[2].value or 0), 3))
        said = (f"The {int(self.seen.sum())} events are known only to lie between two dates, "
                f"a median of {self.labels.time(round(width.value, 3))} apart (at most {widest})")
        if early is None or late is None:
            return said + "."
        return (f"{said}; with each at its earliest the estimate at {self.labels.time(time)} is "
                f"{100 * early:.1f} %, with each at its latest {100 * late:.1f} %.")

    def summary(self) -> Summary:
        """The value at round times, with what the brackets change."""
        found = summary_of_curve(self, "With the event (limits)")
        return replace(found, notes=(*found.notes, self.sentence(last_round_time(self.people))))

    def _value_at(self, time: float) -> tuple[float | None, tuple[str, ...]]:
        found = self.maximum_likelihood
        done = float(found.mass[found.upto <= time].sum())
        open_now = (found.after < time) & (time < found.upto)
        if not open_now.any():
            return done, ()
        k = int(np.argmax(open_now))
        start, end, mass = float(found.after[k]), float(found.upto[k]), float(found.mass[k])
        if np.isinf(end):
            return None, (beyond_words(self.labels.time(start)),)
        value = done + mass * (time - start) / (end - start)
        return value, (
            f"not determined between {start:g} and {self.labels.time(end)}: from "
            f"{100 * done:.1f} % to {100 * (done + mass):.1f} %",
        )

    def _width(
        self, value: float | None, kind: str, words: tuple[str, ...] = (),
        beside: tuple[Estimate, ...] = (),
    ) -> Estimate:
        return Estimate(
            id=f"{self.labels.id}.interval_width", kind=kind, value=value, unit=self.labels.unit,
            n=int(self.seen.sum()), level=self.labels.level, method="description of the sample",
            flags=words, measure=self.labels.measure, beside=beside,
        )


def interval_censored(
    last_negative: ArrayLike,
    first_positive: ArrayLike,
    *,
    level: float = 0.95,
    cluster: Any = None,
    keys: Sequence[Any] | None = None,
    id: str = "interval_censored",
    unit: str = "",
    measure: str = "",
    label: str = "",
) -> IntervalCensored:
    """Events that lie between the last look without and the first look with them.

    Both are times from the start, one a row, in one unit (name it in `measure`).
    last_negative: blank is read as 0, nothing seen since the start; first_positive: blank or
    infinite where the event was never seen (a censoring at last_negative); equal to
    last_negative where the time is exact. Raises ValueError in plain sentences for a negative
    time or a first_positive before last_negative.
    """
    left, right = _times(last_negative, 0.0), _times(first_positive, np.inf)
    people = followed(left, np.isfinite(right).astype(int) if right.size == left.size else right,
                      cluster=cluster, keys=keys)
    if (right < left).any():
        raise ValueError(
            f"first_positive lies before last_negative in {rows_text(right < left)}; one of the "
            "two dates is wrong, or the event went away again."
        )
    labels = TimeLabels(id, unit_name(unit, cluster), measure, check_level(level), label)
    return IntervalCensored(left, right, people, labels)


def _times(values: ArrayLike, blank: float) -> Floats:
    """Times as floats, `blank` in place of a missing one. Raises ValueError for text."""
    column = pd.to_numeric(pd.Series(np.asarray(values, dtype=object)))
    return column.fillna(blank).to_numpy(float)
