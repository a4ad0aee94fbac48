"""Every measure there is, found again by its id or by the place where it is shown.

A topic is a module of this room that declares measures; a test says when one is not listed here.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType, ModuleType

from analyses.measures import (
    baseline,
    complication_detail,
    favourable,
    flow,
    function,
    haemorrhage,
    harm,
    obliteration,
    over_time,
    over_time_compared,
    plan_followed,
    practice_kept,
    procedures,
    resection,
    weaknesses,
)
from analyses.measures.measure import Measure, Share, Worked
from analyses.measures.places import Place
from analyses.population.unit_frames import Units
from analyses.statistics.estimate import Estimate
from analyses.words.about import About, same_words

TOPICS: MappingProxyType[str, ModuleType] = MappingProxyType({
    "who is counted": flow, "obliteration": obliteration, "complications": harm,
    "favourable outcome": favourable, "plan followed": plan_followed, "function": function,
    "resection": resection, "procedures": procedures, "technique": practice_kept,
    "patients and lesions": baseline,
    "complications in detail": complication_detail, "haemorrhage": haemorrhage,
    "over time": over_time, "groups over time": over_time_compared,
    "what the data leave open": weaknesses,
})
"""A name for the progress line → the module that declares the topic's measures, in order."""


def declared_in(topic: ModuleType) -> list[Measure]:
    """The measures that a module declares, in the order in which they stand there."""
    found: dict[str, Measure] = {}
    for value in vars(topic).values():
        for one in value if isinstance(value, tuple) else (value,):
            if isinstance(one, Measure):
                found.setdefault(one.id, one)
    return list(found.values())


@cache
def all_measures() -> MappingProxyType[str, Measure]:
    """Id → measure, topic by topic. Raises ValueError where two declare one id."""
    found: dict[str, Measure] = {}
    for topic in TOPICS.values():
        for one in declared_in(topic):
            if found.setdefault(one.id, one) is not one:
                raise ValueError(f"{one.id} is declared twice.")
    return MappingProxyType(found)


def measure(id: str) -> Measure:
    """The measure of this id.

    Raises KeyError with the ids that are nearest where there is none.
    """
    if id not in all_measures():
        from difflib import get_close_matches

        near = get_close_matches(id, all_measures(), n=3, cutoff=0.4)
        raise KeyError(f"There is no measure “{id}”. " + (
            f"The nearest: {', '.join(near)}." if near else "All are in `study.measures()`."))
    return all_measures()[id]


@cache
def _homes() -> MappingProxyType[str, Measure]:
    """Every id that a measure gives, its parts among them → the measure."""
    return MappingProxyType({
        id: one for one in all_measures().values()
        for id in (one.id, *(one.parts if isinstance(one, Worked) else ()))})


def measure_behind(id: str) -> Measure | None:
    """The measure that gives an id, itself or as one of its parts; None for what is derived.

    A level that no list foresaw is of the measure that its id begins with.
    """
    return _homes().get(id) or _homes().get(id.rpartition(".")[0])


def share_of(id: str) -> Share:
    """The measure of this id, which is a share of units. Raises TypeError where it is not."""
    found = measure(id)
    if not isinstance(found, Share):
        raise TypeError(f"{id} is a {found.kind}, not a share of units with and without an event.")
    return found


def shown_at(*places: Place) -> list[tuple[str, str]]:
    """The (id, unit) pairs shown at any of these places, in the order of declaration."""
    return [(one.id, unit) for one in all_measures().values() for place in places
            for unit in one.shown_in.get(place, ())]


def answering(item: str) -> list[str]:
    """The ids of the measures that answer an item of a reporting standard."""
    return [one.id for one in all_measures().values() if item in one.answers]


def shares_at(place: Place) -> list[tuple[Share, str]]:
    """The measures, each with its unit, that are put to this question."""
    return [(share_of(id), unit) for id, unit in shown_at(place)]


def estimates_of(topic: str | ModuleType, units: Units) -> list[Estimate]:
    """All estimates of a topic's measures.

    Raises ValueError for a topic that does not exist, and where a function works out an id that
    no measure of the topic declares.
    """
    if isinstance(topic, str) and topic not in TOPICS:
        raise ValueError(f"There is no topic {topic}; there are {', '.join(TOPICS)}.")
    module = TOPICS[topic] if isinstance(topic, str) else topic
    found = [(one, e) for one in declared_in(module) for e in one.estimates(units)
             if one.in_results]
    _refuse_undeclared(declared_in(module), units)
    return [e for _, e in found]


def _refuse_undeclared(declared: Iterable[Measure], units: Units) -> None:
    worked = [one for one in declared if isinstance(one, Worked)]
    known = {id for one in worked for id in (one.id, *one.parts)}
    for work in dict.fromkeys(one.work for one in worked):
        strange = sorted({e.id for e in work(units)} - known)
        if strange:
            raise ValueError(f"Worked out, and declared by no measure: {', '.join(strange)}.")


@cache
def _words() -> MappingProxyType[str, About]:
    found: dict[str, About] = {}
    for one in all_measures().values():
        found[one.id] = one.about
        if isinstance(one, Worked):
            found |= one.parts
    return MappingProxyType(found)


@dataclass(frozen=True)
class Derivation:
    """How an id derived from a measure's begins and ends, and what becomes of the words."""

    begins: str
    ends: str
    label: str
    subject: str
    counted: str = "{counted}"

    def words(self, id: str) -> About | None:
        """The words of a derived id, where this derivation made it."""
        stem = id.removeprefix(self.begins).removesuffix(self.ends)
        if id != f"{self.begins}{stem}{self.ends}" or stem not in _words():
            return None
        own = _words()[stem]
        label, subject, counted = (
            form.format(label=own.label, subject=own.subject, counted=own.counted)
            for form in (self.label, self.subject, self.counted))
        return About(label, subject, counted, own.among)


DERIVATIONS = (
    Derivation("difference.", "", "{label}: difference", "the difference in {subject}",
               "{counted}: first group less second"),
    Derivation("trend.", ".test", "{label}: test of the trend", "{label}: test of the trend",
               "{label}: test of the trend"),
    Derivation("trend.", "", "{label}: trend", "the trend of {subject}",
               "{counted}: change a step"),
    Derivation("missing.", ".complete", "{label}, known outcomes only",
               "{subject} (known outcomes only)"),
    Derivation("missing.", ".bounds", "{label}, best and worst case",
               "{subject} (best and worst case)"),
    Derivation("missing.", ".weighted", "{label}, weighted for the missing",
               "{subject} (weighted for the missing)"),
)
"""What is worked out from a measure by comparing it or questioning it."""


def about(id: str) -> About:
    """The words of an estimate; an id that is neither declared nor derived speaks for itself."""
    if id in _words():
        return _words()[id]
    derived = (rule.words(id) for rule in DERIVATIONS)
    return next((words for words in derived if words), same_words(id, "{units}"))


def label_of(estimate: Estimate) -> str:
    """What an estimate is called: its own label, or its measure's."""
    return estimate.label or about(estimate.id).label
