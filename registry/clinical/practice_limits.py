"""Practice limits: was each injection of a liquid copolymer within them?

The limits are common practice without a published source. They stand in one small file,
`practice_limits.toml`, which a service replaces with its own. They describe how the agent was
delivered; the product's instructions for use and the local protocol come first.
"""

from __future__ import annotations

import difflib
import math
import tomllib
from dataclasses import dataclass, fields
from importlib import resources
from pathlib import Path
from typing import Any

import pandas as pd

from registry.clinical.elementwise import Values, column, numbers, scalar_or_column, yes_no
from registry.clinical.technique import INJECTION_KEY, injection_technique
from registry.problems.sentence_error import SentenceError
from registry.schema import Injections, Sessions
from registry.schema.vocabulary import EVOH_AGENTS

LIMITS_CAUTION = "the product's instructions for use and local protocol come first"
LIMIT_COLUMNS = ("mixing", "dead_space", "rate", "pause", "reflux", "halted")

# Decimal fractions are not exact in a computer: 0.30 mL/min worked out as 0.30000000000000004
# is not above the limit.
TOLERANCE = 1e-9


class PracticeLimitsError(SentenceError, ValueError):
    """A file of practice limits that cannot be used; the message lists every problem in it."""


@dataclass(frozen=True)
class PracticeLimits:
    """One set of limits and whose they are (`source`); minutes, mL/min, seconds and mL.

    `rate_usual_ml_min`, `dead_space_usual_ml` and `vial_ml` are for orientation and judge
    nothing.
    """

    source: str
    mixing_at_least_min: float
    rate_usual_ml_min: float
    rate_at_most_ml_min: float
    pause_at_least_s: float
    pause_at_most_s: float
    dead_space_usual_ml: float
    vial_ml: float

    def table(self) -> pd.DataFrame:
        """The limits in words, one row a limit: column, limit, wanted, source ("string")."""
        rows = [
            ("mixing", "agent shaken before use", f"at least {self.mixing_at_least_min:g} min"),
            ("dead_space", "DMSO fills the dead space", "DMSO at least the dead space"),
            ("rate", "steady rate", f"about {self.rate_usual_ml_min:.2f} mL/min; never above "
             f"{self.rate_at_most_ml_min:.2f} mL/min"),
            ("pause", "pause for reflux", f"{self.pause_at_least_s:g}–{self.pause_at_most_s:g} "
             f"s; no pause above {self.pause_at_most_s:g} s"),
            ("reflux", "reflux limit agreed in advance", "recorded, and not passed"),
            ("halted", "view lost, or resistance felt", "delivery halted"),
        ]
        table = pd.DataFrame(rows, columns=["column", "limit", "wanted"], dtype="string")
        return table.assign(source=pd.array([self.source] * len(table), dtype="string"))


NUMBER_NAMES = tuple(field.name for field in fields(PracticeLimits) if field.name != "source")


def default_limits() -> PracticeLimits:
    """The limits that come with the package (common practice, no source)."""
    text = resources.files("registry.clinical").joinpath("practice_limits.toml").read_text("utf-8")
    return _limits(tomllib.loads(text), "the package's own limits")


def read_limits(path: str | Path) -> PracticeLimits:
    """A service's own limits from its TOML file, laid out as `practice_limits.toml`.

    Raises PracticeLimitsError when the file cannot be read or anything in it is missing,
    unknown or impossible; the message names every problem and how to mend it.
    """
    place = Path(path)
    try:
        content = tomllib.loads(place.read_text("utf-8"))
    except OSError as error:
        reason = error.strerror or "it cannot be read"
        raise PracticeLimitsError(
            f"{place}: the file of practice limits could not be read ({reason}). Give the path "
            "of a TOML file laid out as the one that comes with the package."
        ) from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise PracticeLimitsError(
            f"{place}: this is not a TOML text file ({error}). Start from a copy of the file "
            "that comes with the package and change only the numbers and the source."
        ) from error
    return _limits(content, str(place))


def _limits(content: dict[str, Any], place: str) -> PracticeLimits:
    given = content.get("limits")
    problems = _source_problems(content)
    if not isinstance(given, dict):
        problems.append("the part [limits] is missing; add it with the limits below it")
        given = {}
    else:
        problems += _number_problems(given) or _order_problems(given)
    if problems:
        listed = "\n".join(f"- {problem}" for problem in problems)
        raise PracticeLimitsError(f"{place}: the practice limits cannot be used.\n{listed}")
    return PracticeLimits(
        source=content["source"].strip(), **{name: float(given[name]) for name in NUMBER_NAMES},
    )


def _source_problems(content: dict[str, Any]) -> list[str]:
    problems = [
        f"{name} is not known at the top of the file; move it under [limits], or take it out"
        for name in content if name not in ("source", "limits")
    ]
    source = content.get("source")
    if not isinstance(source, str) or not source.strip():
        problems.append(
            "source is missing; say in a line of text whose limits these are, such as source = "
            '"protocol of our service, version 2"'
        )
    return problems


def _number_problems(given: dict[str, Any]) -> list[str]:
    problems = []
    for name in given:
        if name not in NUMBER_NAMES:
            near = difflib.get_close_matches(name, NUMBER_NAMES, n=1)
            hint = f"did you mean {near[0]}?" if near else "take it out"
            problems.append(f"[limits] {name} is not a known limit; {hint}")
    for name in NUMBER_NAMES:
        value = given.get(name)
        if name not in given:
            problems.append(f"[limits] {name} is missing; add it with a number above zero")
        elif not _positive(value):
            problems.append(f"[limits] {name}: found {value!r}; wanted a number above zero")
    return problems


def _positive(value: object) -> bool:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    return math.isfinite(value) and value > 0


def _order_problems(given: dict[str, Any]) -> list[str]:
    pairs = (("pause_at_least_s", "pause_at_most_s"),
             ("rate_usual_ml_min", "rate_at_most_ml_min"))
    return [
        f"[limits] {low} ({given[low]:g}) is above {high} ({given[high]:g}); change one of them"
        for low, high in pairs if given[low] > given[high]
    ]


@scalar_or_column
def _at_least(value: Values, wanted: Values) -> Values:
    return numbers(value) >= numbers(wanted) - TOLERANCE


@scalar_or_column
def _at_most(value: Values, wanted: Values) -> Values:
    return numbers(value) <= numbers(wanted) + TOLERANCE


def rate_within(rate_ml_min: Values, limits: PracticeLimits) -> Values:
    """Whether a rate (mL/min) is within the limit; blank stays blank ("boolean")."""
    return _at_most(rate_ml_min, limits.rate_at_most_ml_min)


def mixing_within(agent_mixing_min: Values, limits: PracticeLimits) -> Values:
    """Whether the agent was shaken (min) for long enough; blank stays blank ("boolean")."""
    return _at_least(agent_mixing_min, limits.mixing_at_least_min)


def dead_space_within(dmso_ml: Values, dead_space_ml: Values) -> Values:
    """Whether the DMSO (mL) filled the catheter's dead space (mL); blank if either is."""
    return _at_least(dmso_ml, dead_space_ml)


def pause_within(longest_pause_s: Values, reflux_stops: Values, limits: PracticeLimits) -> Values:
    """Whether the pauses were within the limits ("boolean").

    No pause may be above the upper limit. Where the injection was stopped for reflux at least
    once, a longest pause under the lower limit is outside too: no stop had its full pause.
    Where it is not recorded whether it was stopped, such a short pause gives a blank.
    """
    long_enough = _at_least(longest_pause_s, limits.pause_at_least_s)
    never_stopped = _at_most(reflux_stops, 0)
    return _both(
        _at_most(longest_pause_s, limits.pause_at_most_s), _either(long_enough, never_stopped),
    )


@scalar_or_column
def reflux_within(reflux_mm: Values, reflux_limit_mm: Values) -> Values:
    """Whether a reflux limit was recorded and not passed, mm ("boolean").

    The reflux recorded but no limit: outside, since the limit is to be agreed and recorded in
    advance. The reflux itself not recorded: blank.
    """
    reflux, limit = numbers(reflux_mm), numbers(reflux_limit_mm)
    kept = (reflux <= limit + TOLERANCE).mask(limit.isna(), False)
    return kept.where(reflux.notna(), pd.NA)


@scalar_or_column
def halt_needed(view_lost: Values, resistance_felt: Values) -> Values:
    """Whether the view was lost or resistance felt ("boolean")."""
    return yes_no(view_lost) | yes_no(resistance_felt)


@scalar_or_column
def halted_within(view_lost: Values, resistance_felt: Values, delivery_halted: Values) -> Values:
    """Whether delivery was halted when the view was lost or resistance was felt ("boolean").

    Neither happened: within, since nothing asked for a halt. Use `halt_needed` to look only at
    the injections where a halt was asked for.
    """
    return ~(yes_no(view_lost) | yes_no(resistance_felt)) | yes_no(delivery_halted)


@scalar_or_column
def _both(first: Values, second: Values) -> Values:
    return yes_no(first) & yes_no(second)


@scalar_or_column
def _either(first: Values, second: Values) -> Values:
    return yes_no(first) | yes_no(second)


def injection_limits(
    injections: pd.DataFrame, sessions: pd.DataFrame, limits: PracticeLimits | None = None,
) -> pd.DataFrame:
    """Each injection of a liquid copolymer against the limits, one row an injection.

    The key, then `LIMIT_COLUMNS` ("boolean": True within, False outside, NA not recorded) and
    `halt_needed`. Injections of other agents are left out: the limits are not about them; the
    index is that of `injections`. `mixing` is a fact of the session, repeated here: counted per
    injection it would count a session as often as it has injections. Without `limits` the
    package's own are used.
    """
    used = limits or default_limits()
    technique = injection_technique(injections, sessions)
    rows = technique["liquid_copolymer"].fillna(False).astype(bool)
    technique, own = technique[rows], injections[rows]
    seen = column(own, Injections.view_lost), column(own, Injections.resistance_felt)
    return technique[INJECTION_KEY].assign(
        # Only a suspension is shaken; of another copolymer the record does not say whether it is.
        mixing=mixing_within(technique[Sessions.agent_mixing_min], used).where(
            own[Injections.agent].isin(EVOH_AGENTS), pd.NA),
        dead_space=dead_space_within(
            column(own, Injections.dmso_ml), column(own, Injections.dead_space_ml)
        ),
        rate=rate_within(technique["rate_ml_min"], used),
        pause=pause_within(
            technique[Injections.longest_pause_s], column(own, Injections.reflux_stops), used
        ),
        reflux=reflux_within(
            column(own, Injections.reflux_mm), column(own, Injections.reflux_limit_mm)
        ),
        halted=halted_within(*seen, column(own, Injections.delivery_halted)),
        halt_needed=halt_needed(*seen),
    )
