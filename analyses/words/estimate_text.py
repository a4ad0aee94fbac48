"""An estimate in words: the short form for tables, and the sentence for the text.

Only the kind of an estimate decides its form, so a number reads the same wherever it stands.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Protocol

from analyses.words import numerals
from analyses.words.numerals import percent, points, quantity, ratio, span, whole

SHARES = ("proportion", "probability", "bounds")
NOTHING = "cannot be given"


class Written(Protocol):
    """What is written: the parts of an `Estimate` that its words are made of (see there)."""

    @property
    def id(self) -> str: ...
    @property
    def kind(self) -> str: ...
    @property
    def value(self) -> float | None: ...
    @property
    def low(self) -> float | None: ...
    @property
    def high(self) -> float | None: ...
    @property
    def level(self) -> float: ...
    @property
    def unit(self) -> str: ...
    @property
    def events(self) -> int | None: ...
    @property
    def n(self) -> int | None: ...
    @property
    def denominator(self) -> float | None: ...
    @property
    def per(self) -> float | None: ...
    @property
    def clusters(self) -> int | None: ...
    @property
    def group(self) -> Mapping[str, str] | None: ...
    @property
    def measure(self) -> str: ...
    @property
    def arms(self) -> Sequence[Written]: ...
    @property
    def beside(self) -> Sequence[Written]: ...
    def notes(self) -> tuple[str, ...]:
        """The flags in plain words."""


def number_text(estimate: Written) -> str:
    """The short form, by kind; counts always stand before the value."""
    if estimate.kind == "proportion":
        return _proportion(estimate)
    if estimate.kind == "bounds":
        return _between(estimate)
    if estimate.kind == "probability":
        return _value(estimate) + _behind(estimate)
    if estimate.kind == "rate":
        return _rate(estimate)
    if estimate.kind == "count":
        return _count(estimate)
    if estimate.kind.endswith("ratio"):
        return f"{estimate.kind} {_value(estimate)}"
    if estimate.kind == "difference":
        return _difference(estimate)
    return _value(estimate) + ("" if estimate.n is None else f", n = {whole(estimate.n)}")


def sentence(estimate: Written, subject: str) -> str:
    """One English sentence about `subject`, a noun phrase in the singular.

    No events: "none of N …; up to X % cannot be excluded", after Hanley and Lippman-Hand 1983,
    JAMA 249:1743.
    """
    head = subject[:1].upper() + subject[1:] + group_words(estimate)
    if estimate.kind == "proportion":
        body = _proportion_sentence(estimate)
    elif estimate.kind == "bounds":
        body = _bounds_sentence(estimate)
    elif estimate.kind == "rate":
        body = _rate_sentence(estimate)
    else:
        body = f": {_in_words(estimate)}"
    notes = "; ".join(estimate.notes())
    return f"{head}{body}{f' ({notes})' if notes else ''}."


def plural(unit: str) -> str:
    """The unit in the plural: session -> sessions, patient-years as it is, "" -> ""."""
    if not unit or unit.endswith("s"):
        return unit
    return unit[:-1] + "ies" if unit.endswith("y") else unit + "s"


def counted(count: int, unit: str) -> str:
    """A count with its unit: 1 session, 2 sessions, "no sessions"."""
    return f"{count or 'no'} {unit if count == 1 else plural(unit)}"


def years(estimate: Written) -> str:
    """The words for person-time: the unit itself where it names one, else unit-years."""
    if "-" in estimate.unit:
        return plural(estimate.unit)
    return f"{estimate.unit or 'person'}-years"


def _proportion(estimate: Written) -> str:
    counts = f"{whole(estimate.events or 0)}/{whole(estimate.n or 0)}"
    if estimate.value is None:
        return counts
    between = _bounds(estimate)
    inside = f"{percent(estimate.value)} %" + (f", {between}" if between else "")
    return f"{counts} ({inside})"


def _between(estimate: Written) -> str:
    """`3 to 8 of 121 (0.5–12.6 %)`: what holds whatever the unknown outcomes are."""
    fewest, most = (whole(case.events or 0) for case in estimate.beside[:2])
    said = f"{fewest} to {most} of {whole(estimate.beside[0].n or 0)}"
    between = _bounds(estimate)
    return f"{said} ({between} %)" if between else said


def _bounds_sentence(estimate: Written) -> str:
    fewest, most = (whole(case.events or 0) for case in estimate.beside[:2])
    every = estimate.beside[0]
    among = f"{whole(every.n or 0)} {_units(every.n, estimate.unit)}{_patients(every)}"
    inside = _interval_words(estimate)
    said = f" was there in at least {fewest} and at most {most} of {among}"
    return said + (f" ({inside} of these bounds)" if inside else "")


def _rate(estimate: Written) -> str:
    time = f"{_time(estimate)} {years(estimate)}"
    counts = f"{whole(estimate.events or 0)} in {time}"
    if estimate.value is None:
        return counts
    between = _bounds(estimate)
    inside = f"{quantity(estimate.value)} {_per(estimate)}" + (f", {between}" if between else "")
    return f"{counts} ({inside})"


def _count(estimate: Written) -> str:
    number = NOTHING if estimate.value is None else whole(estimate.value)
    return f"{number} {_units(estimate.value, estimate.unit)}".strip()


def _difference(estimate: Written) -> str:
    if len(estimate.arms) != 2 or estimate.measure:
        return _value(estimate)
    first, second = (_arm(arm) for arm in estimate.arms)
    return f"{first} against {second}: {_value(estimate)}"


def _arm(arm: Written) -> str:
    if arm.kind == "probability" and arm.value is not None:
        return f"{percent(arm.value)} %"  # with censoring it is not events over n
    counts = f"{whole(arm.events or 0)}/{whole(arm.n or 0)}"
    return counts if arm.value is None else f"{counts} ({percent(arm.value)} %)"


def _value(estimate: Written) -> str:
    """`12 mL (8–15)`: the value with its unit, the bounds in brackets."""
    if estimate.value is None:
        return NOTHING
    written = _written(estimate)[0]
    measure = _measure(estimate)
    between = _bounds(estimate)
    return written + (f" {measure}" if measure else "") + (f" ({between})" if between else "")


def _written(estimate: Written) -> tuple[str, str, str]:
    """Value, low and high as text, by kind."""
    numbers = (estimate.value, estimate.low, estimate.high)
    form: Callable[[float], str]
    if estimate.kind in SHARES:
        form = percent
    elif estimate.kind.endswith("ratio"):
        form = ratio
    elif estimate.kind == "difference" and not estimate.measure:
        form = points
    elif estimate.kind in ("rate", "difference"):
        form = quantity
    else:
        value, low, high = numerals.measured(*numbers)
        return value, low, high
    value, low, high = ("?" if number is None else form(number) for number in numbers)
    return value, low, high


def _measure(estimate: Written) -> str:
    if estimate.kind in SHARES:
        return "%"
    if estimate.kind == "difference" and not estimate.measure:
        return "percentage points"
    return estimate.measure


def _bounds(estimate: Written) -> str:
    """`5.2–10.9`, with the level said where it is not 95 %; "" without an interval."""
    if estimate.low is None or estimate.high is None:
        return ""
    _, low, high = _written(estimate)
    said = "" if estimate.level == 0.95 else f"{100 * estimate.level:g} % interval "
    return said + span(low, high)


def _behind(estimate: Written) -> str:
    events = "" if estimate.events is None else (
        f", {whole(estimate.events)} {_units(estimate.events, 'event')}")
    return events + ("" if estimate.n is None else f", n = {whole(estimate.n)}")


def _time(estimate: Written) -> str:
    time = estimate.denominator or 0.0
    return whole(time) if time >= 100 or time == round(time) else quantity(time)


def _per(estimate: Written) -> str:
    return f"per {whole(estimate.per or 1)} {years(estimate)}"


def _units(count: float | None, unit: str) -> str:
    return unit if count == 1 else plural(unit)


def group_words(estimate: Written) -> str:
    """The group in brackets, ` (sm grade III)`; "" for all together."""
    if not estimate.group:
        return ""
    said = ", ".join(f"{k.replace('_', ' ')} {v}" for k, v in estimate.group.items())
    return f" ({said})"


def _patients(estimate: Written) -> str:
    """`, 120 patients`, where the unit itself is not the patient."""
    if estimate.clusters is None or estimate.unit == "patient":
        return ""
    return f" from {whole(estimate.clusters)} {_units(estimate.clusters, 'patient')}"


def _interval_words(estimate: Written) -> str:
    if estimate.low is None or estimate.high is None:
        return ""
    _, low, high = _written(estimate)
    sign = " %" if estimate.kind in SHARES else ""
    return f"{100 * estimate.level:g} % confidence interval {span(low, high)}{sign}"


def _proportion_sentence(estimate: Written) -> str:
    among = f"{whole(estimate.n or 0)} {_units(estimate.n, estimate.unit)}".strip()
    among += _patients(estimate)
    if not estimate.n or estimate.value is None:
        return f": there was no {estimate.unit or 'unit'} to count"
    if estimate.events == 0 and estimate.high is not None:
        limit = f"{percent(estimate.high)} %"
        return f" was recorded in none of {among}; up to {limit} cannot be excluded"
    if estimate.events == estimate.n and estimate.low is not None:
        limit = f"{percent(estimate.low)} %"
        return f" was recorded in all of {among}; as few as {limit} cannot be excluded"
    inside = ", ".join(filter(None, (f"{percent(estimate.value)} %", _interval_words(estimate))))
    return f" was recorded in {whole(estimate.events or 0)} of {among} ({inside})"


def _rate_sentence(estimate: Written) -> str:
    time = f"{_time(estimate)} {years(estimate)}{_patients(estimate)}"
    if estimate.value is None:
        return ": there was no person-time to count"
    if estimate.events == 0 and estimate.high is not None:
        limit = f"{quantity(estimate.high)} {_per(estimate)}"
        return f" was recorded in none of {time}; up to {limit} cannot be excluded"
    number = f"{quantity(estimate.value)} {_per(estimate)}"
    inside = ", ".join(filter(None, (number, _interval_words(estimate))))
    times = "once" if estimate.events == 1 else f"{whole(estimate.events or 0)} times"
    return f" was recorded {times} in {time} ({inside})"


def _in_words(estimate: Written) -> str:
    """Every other kind: kind, value, interval, and how many stand behind it."""
    if estimate.value is None:
        return f"the {estimate.kind} cannot be given"
    value = " ".join(filter(None, (_written(estimate)[0], _measure(estimate))))
    inside = _interval_words(estimate)
    said = f"{estimate.kind} {value}" + (f" ({inside})" if inside else "")
    if len(estimate.arms) == 2:
        first, second = estimate.arms
        said += f", {number_text(first)} against {number_text(second)}"
    elif estimate.n is not None:
        said += f", from {whole(estimate.n)} {_units(estimate.n, estimate.unit)}".rstrip()
        said += _patients(estimate).replace(" from ", " of ")
    return said
