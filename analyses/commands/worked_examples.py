"""The published worked examples, worked out on this machine: found, expected, source, agreement.

`nidusbook verify` prints them. Each check takes its expected value from outside the project and
names where from; what is only common practice or remembered says so.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.table import Table

COMMON_PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class Check:
    """One worked example. `found` and `expected` are numbers or words; equal within `within`."""

    what: str
    found: float | str
    expected: float | str
    source: str
    within: float = 0.0

    @property
    def agrees(self) -> bool:
        """Whether found equals expected, to the digits the source prints."""
        if isinstance(self.found, str) or isinstance(self.expected, str):
            return self.found == self.expected
        return abs(self.found - self.expected) <= self.within * (1 + 1e-9)


def worked_out(tell: Callable[..., None]) -> list[Check]:
    """All checks, worked out one after the other; `tell` is told which."""
    done = []
    for one in checks():
        tell(one.what)
        done.append(one)
    return done


def agreement_table(done: Iterable[Check]) -> Table:
    """What was found beside what was expected, one line a check, for a terminal."""
    from rich.table import Table

    table = Table("Worked example", "Found", "Expected", "Agrees", "Source", box=None)
    for one in done:
        table.add_row(one.what, _shown(one.found), _shown(one.expected),
                      "yes" if one.agrees else "NO", one.source)
    return table


def _shown(value: float | str) -> str:
    return value if isinstance(value, str) else f"{value:.6g}"


def checks() -> Iterator[Check]:
    """Every check, worked out one after the other (so that progress can be shown)."""
    for family in FAMILIES:
        yield from family()


def proportion_checks() -> Iterator[Check]:
    """Intervals of single proportions, as printed in the papers."""
    from analyses.statistics.proportions.independent import proportion

    newcombe = "Newcombe 1998, Stat Med 17:857"
    examples = {
        (81, 263): ((0.2553, 0.3662), (0.2527, 0.3676)),
        (15, 148): ((0.0624, 0.1605), (0.0578, 0.1617)),
        (0, 20): ((0.0, 0.1611), (0.0, 0.1684)),
        (1, 29): ((0.0061, 0.1718), (0.0009, 0.1776)),
    }
    for (events, n), (wilson, exact) in examples.items():
        for method, printed in (("wilson", wilson), ("clopper-pearson", exact)):
            found = proportion(events, n, method=method)
            for end, mine, theirs in zip(("low", "high"), (found.low, found.high), printed,
                                         strict=True):
                yield Check(f"{events}/{n}, {method}, {end}", mine or 0.0, theirs, newcombe, 5e-5)
    printed_pct = {(9, 172): (2.64, 9.78, 0.005), (12, 69): (10, 28, 0.5)}
    for (events, n), (low, high, within) in printed_pct.items():
        found = proportion(events, n, method="agresti-coull")
        source = "Morgan 2013, J Neurosurg 118:969"
        yield Check(f"{events}/{n}, agresti-coull, low %", 100 * (found.low or 0), low, source,
                    within)
        yield Check(f"{events}/{n}, agresti-coull, high %", 100 * (found.high or 0), high, source,
                    within)
    upper = proportion(0, 20).high or 0.0
    yield Check("0/20, two-sided exact upper bound %", 100 * upper, 16.8, "Clopper–Pearson 1934",
                0.05)


def rate_and_trend_checks() -> Iterator[Check]:
    """A rate per patient-years, a trend over a score, an exact test."""
    from scipy.stats import fisher_exact

    from analyses.statistics.proportions.trend import trend_across_groups
    from analyses.statistics.rates.rates import incidence_rate

    kim = "Kim 2014, Neurology, PMC4141996"
    rate = incidence_rate(141, 6074)
    for what, found, expected in (("rate", rate.value, 2.3), ("low", rate.low, 2.0),
                                  ("high", rate.high, 2.7)):
        yield Check(f"141 in 6,074 patient-years, {what} per 100", found or 0.0, expected, kim,
                    0.05)
    trend = trend_across_groups([0, 3, 12, 10, 4], [12, 52, 83, 47, 8])
    starke = "counts of Starke 2009, PMC2745321 table 5 (the paper prints P < 0.0001)"
    yield Check("trend over the score, Cochran–Armitage χ²", trend.statistic or 0.0, 12.99, starke,
                0.005)
    yield Check("trend over the score, Mantel–Haenszel χ²", trend.mantel_haenszel or 0.0, 12.92,
                starke, 0.005)
    p = float(fisher_exact([[3, 68], [7, 45]])[1])
    yield Check("3/71 against 7/52, Fisher's exact P", p, 0.0942, "PMC6414495", 5e-5)


def grade_checks() -> Iterator[Check]:
    """Volume and grades, all twelve combinations."""
    from registry.clinical.scores import nidus_volume_ml, sm_grade

    yield Check("ellipsoid 30 × 20 × 20 mm, mL", float(nidus_volume_ml(30, 20, 20)), 6.283,
                "geometry", 5e-4)
    source = "Spetzler and Martin 1986, J Neurosurg 65:476"
    for points, length in ((1, 29.9), (2, 30.0), (2, 60.0), (3, 60.1)):
        for eloquent in (False, True):
            for drainage in ("none", "part", "exclusive"):
                expected = points + int(eloquent) + int(drainage != "none")
                what = (f"grade: {length:g} mm, {'eloquent' if eloquent else 'not eloquent'}, "
                        f"deep drainage {drainage}")
                yield Check(what, float(sm_grade(length, eloquent, drainage)), expected, source)


def practice_checks() -> Iterator[Check]:
    """The practice limits on the trade's own examples."""
    from registry.clinical.practice_limits import default_limits, pause_within, rate_within
    from registry.clinical.technique import push_min, rate_ml_min

    limits = default_limits()
    rate = rate_ml_min(0.40, push_min(2.5, 0))
    yield Check("0.40 mL pushed in 2.5 min, mL/min", float(rate), 0.16, COMMON_PRACTICE, 1e-12)
    for value, within in ((0.16, True), (0.31, False)):
        yield Check(f"{value} mL/min", _side(rate_within(value, limits)), _side(within),
                    COMMON_PRACTICE)
    yield Check("pause of 121 s", _side(pause_within(121, 1, limits)), "outside", COMMON_PRACTICE)


def monitoring_checks() -> Iterator[Check]:
    """Charts: a textbook p chart, the scores of a risk-adjusted CUSUM, its run length."""
    from analyses.statistics.control_charts.attribute_charts import p_chart
    from analyses.statistics.control_charts.cusum_scores import cusum_scores
    from analyses.statistics.control_charts.run_length import average_run_length

    counts = _montgomery_counts()
    row = p_chart(counts, [100] * len(counts)).table.iloc[0]
    source = "Montgomery, Statistical Quality Control, exercise 6-1"
    for column, expected in (("centre", 0.0585), ("upper", 0.1289), ("lower", 0.0)):
        yield Check(f"p chart, 117 in 20 samples of 100, {column}", float(row[column]), expected,
                    source, 5e-5)
    up, down = cusum_scores(0.10, 2.0)
    steiner = "Steiner 2000, Biostatistics 1:441, the formula"
    yield Check("CUSUM score, risk 0.10, odds ratio 2, event", float(up), 0.5978, steiner, 5e-5)
    yield Check("CUSUM score, risk 0.10, odds ratio 2, none", float(down), -0.0953, steiner, 5e-5)
    length = average_run_length([0.066], odds_ratio=2.0, limit=4.5)
    yield Check("run length, risk 0.066, odds ratio 2, limit 4.5", length, 6051.05,
                "Markov chain, Brook and Evans 1972; 20,000 simulated runs gave 6,064 (SE 43)",
                6.05)


def regression_checks() -> Iterator[Check]:
    """Firth's penalised logistic regression where ordinary logistic regression has no answer."""
    import csv
    from importlib.resources import files

    import numpy as np

    from analyses.statistics.regression.firth import penalised_logistic, profile_interval

    with (files("analyses.commands") / "endometrial.csv").open(encoding="utf-8") as file:
        rows = np.array([[float(v) for v in row] for row in list(csv.reader(file))[1:]])
    model = penalised_logistic(np.column_stack([np.ones(len(rows)), rows[:, :3]]), rows[:, 3])
    low, high = profile_interval(model)
    source = "Heinze and Schemper 2002, Stat Med 21:2409"
    estimates = (3.774559, 2.929273, -0.034752, -2.604164)
    intervals = {1: (0.610, 7.855), 2: (-0.124, 0.040), 3: (-4.365, -1.233)}
    for at, name in enumerate(("intercept", "NV", "PI", "EH")):
        yield Check(f"endometrial data, Firth, {name}", float(model.coefficients[at]),
                    estimates[at], f"{source}; R brglm2", 1e-6)
        for end, mine in (("low", low), ("high", high)):
            if at in intervals:
                yield Check(f"endometrial data, Firth, {name}, profile {end}", float(mine[at]),
                            intervals[at][end == "high"], source, 6e-4)


def _montgomery_counts() -> list[int]:
    # The centre and limits depend on the total alone; the exercise's total is 117 in 20 samples.
    return [6] * 17 + [5] * 3


def _side(within: object) -> str:
    return "inside" if bool(within) else "outside"


FAMILIES: list[Callable[[], Iterator[Check]]] = [
    proportion_checks, rate_and_trend_checks, grade_checks, practice_checks, regression_checks,
    monitoring_checks,
]
"""The checks by family; other rooms add theirs here."""
