"""Some of a freeze's estimates, where a question needs only some: quicker than all of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from analyses.measures.flow import flow_estimates
from analyses.measures.practice_kept import technique_estimates
from analyses.measures.results import STEPS, Results
from analyses.population.unit_frames import units_of
from registry.clinical.practice_limits import PracticeLimits, default_limits


def work_out_part(
    tables: Mapping[str, Any], manifest: Mapping[str, Any], steps: Iterable[str], *,
    limits: PracticeLimits | None = None,
) -> Results:
    """The estimates of the steps named (see `results.STEPS`), the same as of all steps.

    Raises ValueError for a step that does not exist, naming those that do.
    """
    wanted, known = set(steps), dict(STEPS)
    if wanted - set(known):
        raise ValueError(f"There is no step {', '.join(sorted(wanted - set(known)))}; there are "
                         f"{', '.join(known)}.")
    used = limits or default_limits()
    units = units_of(tables)
    found = flow_estimates(units, manifest)
    for name, step in STEPS:
        if name in wanted:
            found += technique_estimates(units, used) if step is technique_estimates else step(
                units)
    return Results(units, tuple(found), manifest, used)
