"""Where a service's interval and the prediction interval of series like those pooled lie.

No P value, no rank, no verdict and no share of series beyond: the two intervals stand beside each
other, and the words say how they lie.
"""

from __future__ import annotations

from dataclasses import dataclass

from analyses.statistics.estimate import Estimate
from analyses.statistics.pooling.pooled_proportion import Pooled

BOUNDS = ("this service's number is given as bounds, because what is unknown of it points one way; "
          "it has no place among published series.")
NO_ROW = "This service has no row to compare."
NOT_PLACED = ("There is no prediction interval to place this service in; the lines are set beside "
              "each other.")


@dataclass(frozen=True)
class Place:
    """A service's own proportion and the prediction for a new series; `words` on how they lie.

    prediction: None where the service has no place, and `words` then say why.
    """

    own: Estimate
    prediction: Estimate | None
    words: str


def place_of(own: Estimate, pooled: Pooled) -> Place:
    """How the interval of `own`, a proportion, lies to the prediction interval of those pooled."""
    if own.kind == "bounds":
        return Place(own, None, BOUNDS[:1].upper() + BOUNDS[1:])
    if own.value is None:
        return Place(own, None, NO_ROW)
    if pooled.prediction.value is None:
        return Place(own, None, NOT_PLACED)
    return Place(own, pooled.prediction, _words(own, pooled.prediction))


def _words(own: Estimate, prediction: Estimate) -> str:
    ours, theirs = ((e.low or 0.0, 1.0 if e.high is None else e.high) for e in (own, prediction))
    return (f"The 95 % interval of this service ({_span(own)} %) {_how(ours, theirs)} the 95 % "
            f"prediction interval of a new series ({_span(prediction)} %).")


def _how(ours: tuple[float, float], theirs: tuple[float, float]) -> str:
    if ours[0] > theirs[1]:
        return "lies above"
    if ours[1] < theirs[0]:
        return "lies below"
    below, above = ours[0] < theirs[0], ours[1] > theirs[1]
    if below and above:
        return "reaches beyond both ends of"
    if above:
        return "overlaps and reaches above"
    return "overlaps and reaches below" if below else "lies within"


def _span(estimate: Estimate) -> str:
    """The two limits as `number_text` writes them."""
    return estimate.number_text().partition("(")[2].partition(")")[0]
