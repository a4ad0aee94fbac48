"""What a study left out of its freeze and added to it: carried in the manifest, said everywhere.

A study's manifest is its freeze's with the entry `study`: its hash, the exclusions in order, and
the columns added. Flow diagram, methods, cautions and `results.json` read it there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from analyses.words.estimate_text import counted, plural

STUDY = "study"


@dataclass(frozen=True)
class Exclusion:
    """Units left out of a study because a condition was not met, or could not be told.

    condition: what the kept units meet, without any code in it; why: the reason given. units:
    how many were left out, `unknown` of them because it could not be told, and `none` of them
    because they had none of what it asks about (`none_of`: "session"); patients: who went with
    them, `harmed` of them with a recorded death or complication; events: embolization
    complications that are counted no more.
    """

    unit: str
    condition: str
    why: str
    units: int
    unknown: int
    patients: int
    harmed: int
    events: int
    none: int = 0
    none_of: str = ""

    def sentence(self) -> str:
        """`14 patients were left out of this study: new suite (kept: patients with …); …`"""
        out = _were(self.units, self.unit)
        told = f"{out} left out of this study: {self.why} (kept: {plural(self.unit)} with "
        told += self.condition
        if self.none:
            told += f"; {self.none} of those left out because there was no {self.none_of}"
        if self.unknown:
            told += f"; {self.unknown} of those left out because it is not recorded"
        return f"{told}); {self._with_them()}."

    def _with_them(self) -> str:
        gone = counted(self.events, "embolization complication")
        if self.unit == "patient":
            return (f"{self.harmed} of them had a recorded death or complication, and {gone} "
                    f"{'is' if self.events == 1 else 'are'} not counted")
        return (f"with them {counted(self.patients, 'patient')}, {self.harmed} with a recorded "
                f"death or complication, and {gone}")


@dataclass(frozen=True)
class AddedColumn:
    """A column that a study added to the frame of a unit."""

    name: str
    unit: str
    label: str


def exclusions_of(manifest: Mapping[str, Any]) -> tuple[Exclusion, ...]:
    """The exclusions of a study, in order; none of a freeze as it is."""
    return tuple(Exclusion(**one) for one in manifest.get(STUDY, {}).get("exclusions", ()))


def added_to(manifest: Mapping[str, Any]) -> tuple[AddedColumn, ...]:
    """The columns that a study added, in order."""
    return tuple(AddedColumn(**one) for one in manifest.get(STUDY, {}).get("added", ()))


def study_manifest(
    manifest: Mapping[str, Any], hash_: str, exclusions: tuple[Exclusion, ...],
    added: tuple[AddedColumn, ...],
) -> dict[str, Any]:
    """A freeze's manifest with what a study did to it; as it is where it did nothing."""
    if not exclusions and not added:
        return dict(manifest)
    return {**manifest, STUDY: {
        "hash": hash_, "exclusions": [asdict(one) for one in exclusions],
        "added": [asdict(one) for one in added]}}


def hash_words(manifest: Mapping[str, Any]) -> str:
    """`freeze 0123456789ab`, and `, study …` where the study is not the whole freeze."""
    frozen = f"freeze {str(manifest.get('freeze_hash', 'without a hash'))[:12]}"
    own = manifest.get(STUDY, {}).get("hash")
    return f"{frozen}, study {own[:12]}" if own else frozen


def _were(count: int, unit: str) -> str:
    if count == 1:
        return f"One {unit} was"
    return f"{count or 'No'} {plural(unit)} were"
