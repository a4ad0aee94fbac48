"""How often every headline interval covers the truth, on whole fictional services of 150 patients.

Each replicate is a service made by `synthetic_cohort.make_cohort` under its default settings (no
change of risk, loss and missing values independent of outcome) and analysed from its tables by
the functions that the report uses. The truth of each measure is worked out by `synthetic_cohort`
on 200,000 patients of such services, apart from `analyses`; cumulative incidence with nobody
lost and the records kept open for longer.

From the project's folder, for the full table in tests/reference/coverage_headlines.md:
    python tests/coverage_headlines.py --cohorts 2000
"""

from __future__ import annotations

import argparse
import datetime
import subprocess
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from analyses.measures import over_time
from analyses.measures.counting import share
from analyses.measures.declared import share_of
from analyses.measures.durations import obliteration_durations
from analyses.measures.function import functional_outcomes
from analyses.measures.haemorrhage import AFTER, LATER, NEAR, UNDER, in_stage, rate, stretches
from analyses.measures.harm import combined_patients
from analyses.measures.obliteration import embolized_lesions, final_lesions
from analyses.population.unit_frames import Units, units_of
from analyses.statistics.estimate import Estimate
from synthetic_cohort import CohortSettings, make_cohort
from synthetic_cohort.truth import Truth, truth_of

PATIENTS = 150
TARGET = 0.94
FIRST_SEED = 1_000_000
STAGES = (UNDER, UNDER + NEAR, UNDER + LATER, AFTER)
REPORT = Path(__file__).parent / "reference" / "coverage_headlines.md"

TOGETHER = 25
"""Services whose tables are read together."""

NOTE = (
    "The mean cumulative incidence lies about a percentage point above the truth: a closure is a "
    "contact of its own, while a lesion still open is censored at its last contact, before the "
    "end of the records. The report says so beside the curves."
)

Limits = tuple[float, float, float]
"""Value, low and high of one interval (NaN where it cannot be given)."""
Measure = Callable[[pd.DataFrame], Estimate]
"""How the rows of a measure become its estimate."""


@dataclass(frozen=True)
class Covered:
    """One headline over all cohorts; values on the scale of its estimate."""

    name: str
    truth: float
    cohorts: int
    covered: float
    below: float
    above: float
    mean: float
    width: float

    @property
    def floor(self) -> float:
        """94 % less three Monte Carlo standard errors."""
        return TARGET - 3 * float(np.sqrt(TARGET * (1 - TARGET) / self.cohorts))


def headlines(units: Units) -> dict[str, tuple[pd.DataFrame, Measure]]:
    """Every headline of the units: its rows, and how they are summed up, by its words."""
    found: dict[str, tuple[pd.DataFrame, Measure]] = {
        "immediate complete occlusion, lesion":
            (embolized_lesions(units), _share("complete", "lesion")),
        "final obliteration confirmed, lesion":
            (final_lesions(units), _share("confirmed", "lesion")),
    }
    for id, words in (("complication.any", "any complication"),
                      ("complication.permanent_deficit", "permanent deficit or death")):
        for unit in ("session", "patient"):
            found[f"{words}, {unit}"] = share_of(id).frame(units, unit), _share("event", unit)
    found["deficit or death from any treatment, patient"] = (
        combined_patients(units), _share("event", "patient"))
    found["independent (mRS 0–2), patient"] = (
        functional_outcomes(units), _share("independent", "patient"))
    rows = stretches(units)
    for stage in STAGES:
        found[f"haemorrhage {stage}, patient-year"] = in_stage(rows, stage), _rate
    found["confirmed obliteration by 2 years, lesion"] = obliteration_durations(units), _by_2_years
    return found


def _share(column: str, unit: str) -> Measure:
    return lambda rows: share(rows, column, id="", unit=unit)


def _rate(rows: pd.DataFrame) -> Estimate:
    return rate(rows, None)


def _by_2_years(rows: pd.DataFrame) -> Estimate:
    curves = over_time.incidence(
        rows.reset_index(drop=True), over_time.OBLITERATION, "lesion")
    assert curves is not None
    return curves.at(2)


def truths(truth: Truth) -> dict[str, float]:
    """The true value of each headline, under the same words."""
    shares = {
        "immediate complete occlusion, lesion": ("obliteration.embolization_complete", "lesion"),
        "final obliteration confirmed, lesion": ("obliteration.final_confirmed", "lesion"),
        "any complication, session": ("complication.any", "session"),
        "any complication, patient": ("complication.any", "patient"),
        "permanent deficit or death, session": ("complication.permanent_deficit", "session"),
        "permanent deficit or death, patient": ("complication.permanent_deficit", "patient"),
        "deficit or death from any treatment, patient":
            ("combined.permanent_deficit_or_death", "patient"),
        "independent (mRS 0–2), patient": ("function.independent", "patient"),
    }
    found = {words: truth.value(*key) for words, key in shares.items()}
    for stage in STAGES:
        found[f"haemorrhage {stage}, patient-year"] = truth.value(
            "rate.haemorrhage", "patient-year", stage=stage)
    found["confirmed obliteration by 2 years, lesion"] = truth.known_incidence(2).value
    return found


def several_cohorts(seeds: Sequence[int]) -> list[dict[str, Limits]]:
    """The intervals of several services, each apart.

    Their tables are put together only to find the rows of each measure, which depend on nothing
    outside their patient: that is many times faster than one service at a time, and the same.
    """
    prefixes = [f"{chr(65 + at // 26)}{chr(65 + at % 26)}" for at in range(len(seeds))]
    each = [make_cohort(PATIENTS, seed, code_prefix=prefix).tables
            for seed, prefix in zip(seeds, prefixes, strict=True)]
    tables = {name: pd.concat([one[name] for one in each], ignore_index=True) for name in each[0]}
    found: list[dict[str, Limits]] = [{} for _ in seeds]
    for words, (rows, measure) in headlines(units_of(tables)).items():
        service = rows["patient_id"].str.partition("-")[0]
        for at, prefix in enumerate(prefixes):
            found[at][words] = _limits(measure(rows[service == prefix]))
    return found


def _limits(e: Estimate) -> Limits:
    value, low, high = (np.nan if x is None else float(x) for x in (e.value, e.low, e.high))
    return value, low, high


def all_cohorts(cohorts: int, jobs: int) -> list[dict[str, Limits]]:
    """One result a service, in the order of their seeds."""
    from joblib import Parallel, delayed

    seeds = range(FIRST_SEED, FIRST_SEED + cohorts)
    parts = [seeds[at:at + TOGETHER] for at in range(0, cohorts, TOGETHER)]
    done = Parallel(n_jobs=jobs, batch_size=1)(delayed(several_cohorts)(part) for part in parts)
    return [one for part in done for one in part]


def coverage(cohorts: int, jobs: int = 2) -> list[Covered]:
    """Coverage of every headline; an interval that cannot be given does not cover."""
    expected = truths(truth_of(CohortSettings(), PATIENTS))
    each = all_cohorts(cohorts, jobs)
    found = []
    for name, truth in expected.items():
        value, low, high = np.array([one[name] for one in each]).T
        found.append(Covered(
            name, truth, cohorts, covered=float(np.mean((low <= truth) & (truth <= high))),
            below=float(np.mean(high < truth)), above=float(np.mean(low > truth)),
            mean=float(np.nanmean(value)), width=float(np.nanmean(high - low))))
    return found


def as_markdown(rows: list[Covered]) -> str:
    """The table, one line a headline."""
    lines = [
        "| headline, unit | truth | mean of the estimates | coverage | interval below the truth | "
        "interval above it | mean width |",
        "|---|---:|---:|---:|---:|---:|---:|",
    ]
    for row in rows:
        is_rate = "patient-year" in row.name
        scale, sign = (1.0, "") if is_rate else (100.0, " %")
        lines.append(
            f"| {row.name}{' (per 100)' if is_rate else ''} | {scale * row.truth:.2f}{sign} | "
            f"{scale * row.mean:.2f}{sign} | {100 * row.covered:.2f} % | {100 * row.below:.2f} % "
            f"| {100 * row.above:.2f} % | {scale * row.width:.2f} |")
    return "\n".join(lines)


def main() -> None:
    """Run the full size and write the table with its date and commit."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cohorts", type=int, default=2_000)
    parser.add_argument("--jobs", type=int, default=2)
    asked = parser.parse_args()
    rows = coverage(asked.cohorts, asked.jobs)
    commit = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=True,
        cwd=REPORT.parent,
    ).stdout.strip()
    short = [row.name for row in rows if row.covered < row.floor]
    verdict = "Below the floor: " + "; ".join(short) if short else "None is below the floor."
    text = (
        "# Coverage of the headline 95 % intervals\n\n"
        f"{asked.cohorts:,} fictional services of {PATIENTS} patients, "
        f"{datetime.date.today().isoformat()}, commit {commit}; "
        "`python tests/coverage_headlines.py`.\n"
        f"The floor is 94 % less three Monte Carlo standard errors: {100 * rows[0].floor:.2f} %. "
        "Exact methods may be over.\n\n"
        f"{as_markdown(rows)}\n\n{verdict}\n\n{NOTE}\n"
    )
    REPORT.write_text(text, encoding="utf-8")
    print(text)


if __name__ == "__main__":
    main()
