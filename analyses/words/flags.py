"""What a flag on an estimate means, in words: one table, read by every text, table and report."""

from __future__ import annotations

from collections.abc import Iterable
from types import MappingProxyType

FEW_UNITS = "few-units"
NOTHING_COUNTED = "nothing-counted"
NO_EVENTS = "no-events"
ALL_EVENTS = "all-events"
NOTHING_MISSING = "nothing-missing"
SMALL_EFFECTIVE_N = "effective-n-under-30"
WIDE = "wide-interval"
WIDE_RELATIVE = "wide-relative-interval"
BY_PATIENTS = "bounds-by-patients"
ONE_CLUSTER = "one-patient"
DOMINATED = "one-patient-weighs"
NO_VARIATION = "no-variation-between-patients"
NO_INTERVAL = "no-interval"
UNBOUNDED = "unbounded"
WIDENED = "widened-for-repeats"
BOUNDS_FOR_MISSING = "bounds-for-missing"
NO_MODEL = "no-model"

WORDS: MappingProxyType[str, str] = MappingProxyType({
    FEW_UNITS: "too few to compare",
    NOTHING_COUNTED: "nothing to count",
    NO_EVENTS: "no events to compare",
    ALL_EVENTS: "every unit had the event; nothing to compare",
    NOTHING_MISSING: "no outcome is missing",
    SMALL_EFFECTIVE_N: "imprecise: effective number under 30",
    WIDE: "imprecise: interval 30 percentage points wide or wider",
    WIDE_RELATIVE: "imprecise: interval wider than 130 % of the value",
    BY_PATIENTS: "bounds by patients, the wider ones",
    ONE_CLUSTER: "all rows come from one patient; no interval can be given",
    DOMINATED: "one patient gives a quarter of the rows or more",
    NO_VARIATION: "patients do not differ; interval by rows",
    NO_INTERVAL: "no interval can be given with these data",
    UNBOUNDED: "the interval has no limit on one side",
    WIDENED: "interval widened because patients repeat",
    BOUNDS_FOR_MISSING: "best and worst case for the missing outcomes",
    NO_MODEL: "too few events for a model; the counts stand in its place",
})
"""Flag to words. A flag that is not listed is shown as it stands."""


IMPRECISE = "imprecise: "


def flag_words(flags: Iterable[str]) -> tuple[str, ...]:
    """The plain words of each flag, in the order given; the imprecise ones in one phrase.

    "Too few to compare" says more than any imprecision, which is then left unsaid.
    """
    given = tuple(flags)
    words = [WORDS.get(flag, flag) for flag in given]
    reasons = [word.removeprefix(IMPRECISE) for word in words if word.startswith(IMPRECISE)]
    kept = [word for word in words if not word.startswith(IMPRECISE)]
    if reasons and FEW_UNITS not in given:
        kept.append(IMPRECISE + ", ".join(reasons))
    return tuple(kept)
