"""Reports about nothing: how many claims do they make?

Fictional services in which no outcome goes with anything: the outcomes of a service are exchanged
between whole patients with as many units. Each is asked a primary and five secondary questions, as
a plan may, and then everything that a supplement shows. A finding: an interval of a difference
that leaves out no difference, or an adjusted P of 0.05 or less.

From the project's folder, for the table in tests/reference/null_reports.md:
    python -m tests.null_reports --services 300
"""

from __future__ import annotations

import argparse
import datetime
import subprocess
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from analyses.measures.comparisons import COMPARED, differences
from analyses.measures.groups_pooled import comparison_pooled
from analyses.measures.headlines import Headline, headlines
from analyses.models.declared_question import Question
from analyses.models.questions_answered import AnsweredQuestion, answer_headlines
from analyses.population.unit_frames import units_of
from analyses.statistics.regression.exact import exchange_patients
from registry.schema import Patients
from synthetic_cohort import make_cohort

SIZES = (60, 120, 200)
ASKED = (("complication.any", "ponce_class"), ("complication.any", "agent"),
         ("complication.permanent_deficit", "half"), ("obliteration.final_confirmed", "ruptured"),
         ("obliteration.embolization_complete", "intent"),
         ("combined.permanent_deficit_or_death", "half"))
"""The primary question first."""
MOST = 0.05
REPORT = Path(__file__).parent / "reference" / "null_reports.md"


@dataclass(frozen=True)
class NullReport:
    """One report about nothing: findings in the paper; raw differences shown in the supplement, and
    pooled ones in the place of raw ones, each with how many of them leave out no difference.
    """

    patients: int
    paper: int
    shown: int
    supplement: int
    pooled: int
    pooled_findings: int


def exchanged(headline: Headline, rng: np.random.Generator) -> Headline:
    """The headline with the outcomes of whole patients exchanged; unknown ones go along."""
    frame = headline.frame.reset_index(drop=True)
    patients = pd.factorize(frame[Patients.patient_id])[0].astype(np.int64)
    order = exchange_patients(patients, 1, rng)[0]
    moved = frame["event"].iloc[order].set_axis(frame.index)
    return replace(headline, frame=frame.assign(event=moved))


def is_finding(answered: AnsweredQuestion) -> bool:
    """Whether the paper would claim something here."""
    apart = any(_apart(e.low, e.high) for e in answered.differences)
    return apart or (answered.adjusted_p is not None and answered.adjusted_p <= MOST)


def _apart(low: float | None, high: float | None) -> bool:
    return low is not None and high is not None and (low > 0 or high < 0)


def null_report(patients: int, seed: int) -> NullReport:
    """One fictional service, its outcomes exchanged, reported on."""
    units = units_of(make_cohort(patients, seed).tables)
    rng = np.random.default_rng(seed)
    nothing = {id: exchanged(one, rng) for id, one in headlines(units).items()}
    questions = [Question("primary" if not place else "secondary", id, nothing[id].unit, by)
                 for place, (id, by) in enumerate(ASKED)]
    answered = answer_headlines({q: nothing[q.measure] for q in questions}, {}, questions, {})
    raw, pooled = [], []
    for one in nothing.values():
        for by in COMPARED:
            found = comparison_pooled(one, by)
            pooled += found.differences
            raw += differences(one, by) if found.why else []
    return NullReport(patients, sum(map(is_finding, answered)), len(raw),
                      sum(_apart(e.low, e.high) for e in raw), len(pooled),
                      sum(_apart(e.low, e.high) for e in pooled))


def null_reports(services: int) -> list[NullReport]:
    """Reports of fictional services of each size in turn."""
    from joblib import Parallel, delayed

    return list(Parallel(n_jobs=-1)(
        delayed(null_report)(SIZES[seed % len(SIZES)], 1000 + seed) for seed in range(services)))


def with_any(found: list[NullReport]) -> float:
    """Share of reports with any finding in the paper."""
    return float(np.mean([one.paper > 0 for one in found]))


def as_markdown(found: list[NullReport]) -> str:
    """A line a size, and one of all."""
    lines = ["| patients | reports | with any finding in the paper | raw differences shown in the "
             "supplement | of them leave out no difference | pooled differences | of them leave "
             "out no difference |", "|---|---:|---:|---:|---:|---:|---:|"]
    for size in (*SIZES, None):
        rows = [one for one in found if size in (None, one.patients)]
        if rows:
            lines.append(
                f"| {size or 'all'} | {len(rows)} | {100 * with_any(rows):.1f} % | "
                f"{np.mean([one.shown for one in rows]):.1f} a report | "
                f"{np.mean([one.supplement for one in rows]):.2f} a report | "
                f"{np.mean([one.pooled for one in rows]):.1f} a report | "
                f"{np.mean([one.pooled_findings for one in rows]):.2f} a report |")
    return "\n".join(lines)


def main() -> None:
    """Run all and write the table with its date and commit."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--services", type=int, default=300)
    found = null_reports(parser.parse_args().services)
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], capture_output=True,
                            text=True, check=True, cwd=REPORT.parent).stdout.strip()
    error = 100 * np.sqrt(MOST * (1 - MOST) / len(found))
    REPORT.write_text(
        "# Reports about nothing\n\n"
        f"{len(found)} fictional services whose outcomes were exchanged between whole patients; a "
        "primary question and five secondary ones each; "
        f"{datetime.date.today().isoformat()}, commit {commit}; `python -m tests.null_reports`.\n"
        f"Monte Carlo standard error at 5 %: {error:.1f} points.\n\n{as_markdown(found)}\n",
        encoding="utf-8")
    print(REPORT.read_text(encoding="utf-8"))


if __name__ == "__main__":
    main()
