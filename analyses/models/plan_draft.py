"""A plan file to begin with: the default plan, with what may be changed written at its head."""

from __future__ import annotations

import datetime
import os
from dataclasses import replace
from pathlib import Path
from textwrap import fill

from analyses.measures.comparisons import COMPARED
from analyses.measures.harm import ANY
from analyses.models.model_plan import MISSING_RULES, write_plan
from analyses.models.technique_declared import all_terms
from analyses.models.technique_outcomes import OUTCOMES
from analyses.models.technique_plan import ADJUST, default_plan
from analyses.statistics.regression.estimator_choice import ESTIMATORS
from registry.problems.sentence_error import SentenceError

_FOR_PLANS = tuple(name for name in ESTIMATORS if name not in ("ordinal", "cox"))
_OUTCOME_LINES = "\n".join(
    f"              {one.unit}: {one.column} ({one.label.lower()})" for one in OUTCOMES)
_TERM_LINES = fill(", ".join(all_terms()), 86, subsequent_indent=12 * " ")
_HELD = ", ".join(one.term.name for one in ADJUST)
_NOT_OFFERED = "\n".join(
    f"            ({term} is not offered for {outcome.column}: the last step of its own chain)"
    for outcome in OUTCOMES for term in all_terms()
    if not all_terms()[term].offered_for(outcome.measure))
HEAD = f"""\
Analysis plan of the technique models. Change it to what your service wants to ask, before
anybody looks at the data, and give it to `nidusbook report FREEZE --out DIR --plan THIS-FILE`.
The report prints it whole, with its date and a hash of its content; whatever was not declared
by the day of the freeze is called exploratory.

Name what you want to know before you look: one primary question, up to five secondary ones.
Only these have intervals of differences and P values in the paper, held together at 5 %;
everything else is called exploratory. Take the marks away from lines such as these:
  [primary]
  measure = "{ANY.id}"
  unit = "session"
  by = "agent"          one of {", ".join(COMPARED)}
  [[secondary]]         the same three lines
Of five or more small groups the report says how probable a difference is that you call important.
Say how large that is, in a line of its own above the first [ or [[ of the plan:
  important = 0.05      5 percentage points

Where the question is one of the models below, name it instead: model = "its name". Its ratio then
stands in the paper; those of all other models stand in the supplement alone.

Leave out the models you do not ask: few questions, few chance findings. A model has
  name      your words for it
  unit      what a row is, and
  outcome   what is asked of it:
{_OUTCOME_LINES}
  exposure  one of {_TERM_LINES};
{_NOT_OFFERED}
            form "linear" (per = the step of the ratio), "spline" (knots 3 to 5: more events are
            needed), or "factor" (reference = the level the others are compared with)
  adjust    what is held the same, and why: {_HELD}, or another technique
            that comes earlier in the chain, never a later one
  estimator {", ".join(_FOR_PLANS)};
            "auto" picks by rule and says why
  missing   {" or ".join(f'"{rule}"' for rule in MISSING_RULES)}
  subgroups columns whose interaction with the exposure you plan, such as ["ruptured"]
"""


class PlanFileError(SentenceError):
    """A plan file cannot be written; the message says why and what to do."""


def write_draft_plan(path: str | Path, date: datetime.date) -> Path:
    """Write the default plan, dated `date`, to `path`; nothing that is there is replaced.

    Raises PlanFileError where the file exists already or its folder does not.
    """
    path = Path(path)
    if path.exists():
        raise PlanFileError(f"{path.name} is there already and is not replaced: a plan that was "
                            "declared must stay as it was. Give another name.")
    if not path.parent.is_dir():
        raise PlanFileError(f"The folder {path.parent} does not exist; make it, or give another.")
    beside = path.with_name(f".{path.name}.part")
    write_plan(replace(default_plan(date), title="Technique and outcome", note=HEAD), beside)
    os.replace(beside, path)
    return path
