"""The questions that a plan names before the data are looked at: one primary, up to five others.

Only these have an interval of a difference and a P value in the paper; everything else is
exploratory. With many P values something always stands out by chance.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from analyses.measures.comparisons import COMPARED
from analyses.measures.declared import all_measures
from analyses.measures.measure import Share

PRIMARY, SECONDARY = "primary", "secondary"
MOST_SECONDARY = 5
WORDS = {"half": "period (earlier against later half)", "ponce_class": "Spetzler–Ponce class",
         "intent": "intent", "ruptured": "rupture before treatment", "agent": "agent"}
"""The groupings that a question can be asked by, in words."""


@dataclass(frozen=True)
class Question:
    """Does a measure differ between groups?

    role: "primary" or "secondary"; measure: its id; unit: the unit it is counted in; by: the
    grouping, one of `COMPARED`.
    """

    role: str
    measure: str
    unit: str
    by: str

    def table(self) -> dict[str, str]:
        """As it stands in a plan file."""
        return {"measure": self.measure, "unit": self.unit, "by": self.by}


def read_questions(content: Mapping[str, Any]) -> tuple[tuple[Question, ...], list[str]]:
    """The questions of a plan file's content, and a sentence for everything wrong in them."""
    primary, secondary = content.get(PRIMARY), content.get(SECONDARY, [])
    problems: list[str] = []
    if not isinstance(primary, dict | None):
        return (), [f"{PRIMARY}: wanted one table [{PRIMARY}] with measure, unit and by"]
    if not isinstance(secondary, list) or not all(isinstance(one, dict) for one in secondary):
        return (), [f"{SECONDARY}: wanted tables [[{SECONDARY}]] with measure, unit and by"]
    if secondary and primary is None:
        problems.append(f"[[{SECONDARY}]] without a [{PRIMARY}] question; name the primary one")
    if len(secondary) > MOST_SECONDARY:
        problems.append(f"{len(secondary)} secondary questions; at most {MOST_SECONDARY} can be "
                        "held together with the primary one")
    found = [] if primary is None else [_question(PRIMARY, PRIMARY, primary, problems)]
    found += [_question(SECONDARY, f"{SECONDARY} {place}", one, problems)
              for place, one in enumerate(secondary, start=1)]
    asked = [(q.measure, q.unit, q.by) for q in found]
    if len(set(asked)) < len(asked):
        problems.append("the same question stands twice; leave one of them out")
    return tuple(found), problems


def _question(role: str, where: str, table: Mapping[str, Any], problems: list[str]) -> Question:
    said = {key: str(table.get(key, "")) for key in ("measure", "unit", "by")}
    problems += [f"{where}: {key!r} is not known; wanted measure, unit and by"
                 for key in table if key not in said]
    shares = {one.id: one for one in all_measures().values()
              if isinstance(one, Share) and one.in_results}
    share = shares.get(said["measure"])
    if share is None:
        problems.append(f"{where}: measure {said['measure']!r} is not a share that can be "
                        f"compared; such as {', '.join(sorted(shares)[:4])} "
                        "(Study.measures() lists all)")
    elif said["unit"] not in share.units:
        problems.append(f"{where}: {share.id} is not counted per {said['unit'] or 'nothing'}; "
                        f"wanted {' or '.join(share.units)}")
    if said["by"] not in COMPARED:
        problems.append(f"{where}: by {said['by']!r}; wanted one of {', '.join(COMPARED)}")
    return Question(role, **said)
