"""The questions that a plan names before the data are looked at: one primary, up to five others.

Only these have an interval of a difference (or a ratio of a model) and a P value in the paper;
everything else is exploratory. With many P values something always stands out by chance.
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


WANTED = "measure, unit and by, or with model"
"""What a question holds."""


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


@dataclass(frozen=True)
class ModelQuestion:
    """Does what a model of the plan asks about go with its outcome?

    role: "primary" or "secondary"; model: the name of a [[model]] of the same plan.
    """

    role: str
    model: str

    def table(self) -> dict[str, str]:
        """As it stands in a plan file."""
        return {"model": self.model}


AnyQuestion = Question | ModelQuestion


def read_questions(content: Mapping[str, Any]) -> tuple[tuple[AnyQuestion, ...], list[str]]:
    """The questions of a plan file's content, and a sentence for everything wrong in them."""
    primary, secondary = content.get(PRIMARY), content.get(SECONDARY, [])
    problems: list[str] = []
    if not isinstance(primary, dict | None):
        return (), [f"{PRIMARY}: wanted one table [{PRIMARY}] with {WANTED}"]
    if not isinstance(secondary, list) or not all(isinstance(one, dict) for one in secondary):
        return (), [f"{SECONDARY}: wanted tables [[{SECONDARY}]] with {WANTED}"]
    if secondary and primary is None:
        problems.append(f"[[{SECONDARY}]] without a [{PRIMARY}] question; name the primary one")
    if len(secondary) > MOST_SECONDARY:
        problems.append(f"{len(secondary)} secondary questions; at most {MOST_SECONDARY} can be "
                        "held together with the primary one")
    named = [] if primary is None else [(PRIMARY, PRIMARY, primary)]
    named += [(SECONDARY, f"{SECONDARY} {place}", one)
              for place, one in enumerate(secondary, start=1)]
    found: list[AnyQuestion] = [
        _of_a_model(*one, content.get("model", []), problems) if "model" in one[2]
        else _question(*one, problems) for one in named]
    if len({tuple(q.table().items()) for q in found}) < len(found):
        problems.append("the same question stands twice; leave one of them out")
    return tuple(found), problems


def _question(role: str, where: str, table: Mapping[str, Any], problems: list[str]) -> Question:
    said = {key: str(table.get(key, "")) for key in ("measure", "unit", "by")}
    problems += [f"{where}: {key!r} is not known; wanted measure, unit and by"
                 for key in table if key not in said]
    if not any(said.values()):
        problems.append(f"{where}: wanted {WANTED}")
        return Question(role, **said)
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


def _of_a_model(
    role: str, where: str, table: Mapping[str, Any], models: Any, problems: list[str],
) -> ModelQuestion:
    name = str(table["model"])
    problems += [f"{where}: {key!r} does not go with a model; its outcome and unit stand in the "
                 "[[model]]" for key in table if key != "model"]
    declared = {str(one.get("name", "")): one for one in models if isinstance(one, dict)} if (
        isinstance(models, list)) else {}
    if name not in declared:
        problems.append(f"{where}: model {name!r} is not the name of a [[model]] of this plan; "
                        f"there {_are(list(declared))}")
        return ModelQuestion(role, name)
    exposure = declared[name].get("exposure")
    if isinstance(exposure, dict) and exposure.get("form") == "spline":
        problems.append(f"{where}: the exposure of model {name!r} is a curve, which no one ratio "
                        "answers; ask with form \"linear\" or \"factor\"")
    return ModelQuestion(role, name)


def _are(names: list[str]) -> str:
    return f"are {', '.join(map(repr, names))}" if names else "is none"
