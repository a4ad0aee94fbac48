"""Monitoring, as ratios between two things timed on the same machine."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable
from io import BytesIO

from monitoring_procedures import procedures

from analyses.documents.quality.quality_charts import cusum_blocks
from analyses.figures.chart_figures import chart_figure, funnel_figure, learning_figure
from analyses.monitoring.service import quality_analysis
from analyses.statistics.control_charts.run_length import average_run_length

LIMIT = """
import numpy as np
from analyses.statistics.control_charts.run_length import cusum_limit
risks = 1 / (1 + np.exp(-np.random.default_rng(1).normal(-2.8, 0.7, 300)))
cusum_limit(risks, odds_ratio=2, run_length=1000)
"""


def best_of(times: int, job: Callable[[], object]) -> float:
    """Seconds of the fastest of several runs: the least disturbed one."""
    seconds = []
    for _ in range(times):
        start = time.perf_counter()
        job()
        seconds.append(time.perf_counter() - start)
    return min(seconds)


def process(code: str) -> Callable[[], object]:
    """A job that runs this code in a fresh interpreter."""
    return lambda: subprocess.run([sys.executable, "-c", code], check=True)


def test_a_limit_over_300_risks_costs_less_than_two_imports_of_numpy() -> None:
    """Whole processes: (start, import numpy, find the limit) against (start, import numpy)."""
    bare, numpy, limit = (best_of(7, process(code)) for code in ("pass", "import numpy", LIMIT))
    ratio = (limit - numpy) / (numpy - bare)
    print(f"\nlimit for a run length of 1,000 over 300 risks / importing numpy: {ratio:.2f}")
    assert ratio < 2


def test_the_converged_run_length_of_one_risk_costs_less_than_importing_numpy() -> None:
    """4,999 states on the lattice of the two scores."""
    average_run_length(0.066, odds_ratio=2, limit=4.5)
    chain = best_of(7, lambda: average_run_length(0.066, odds_ratio=2, limit=4.5))
    numpy = best_of(5, process("import numpy")) - best_of(5, process("pass"))
    print(f"\nrun length on 4,999 states / importing numpy: {chain / numpy:.2f}")
    assert chain < numpy


def test_5000_sessions_are_analysed_in_less_time_than_drawn() -> None:
    frame = procedures(5000, seed=3, a_month=60)
    found = quality_analysis(frame)

    def draw() -> None:
        for figure in (
            chart_figure(found.chart), chart_figure(found.run), chart_figure(found.ewma),
            cusum_blocks(found)[-1].draw(6.9),
            funnel_figure(found.funnel), funnel_figure(found.funnel_adjusted),
            learning_figure(found.learning),
        ):
            figure.savefig(BytesIO(), format="png", dpi=150)

    draw()
    analysing, drawing = best_of(4, lambda: quality_analysis(frame)), best_of(4, draw)
    print(f"\nanalysing 5,000 sessions / drawing them: {analysing / drawing:.2f}")
    assert analysing < drawing
