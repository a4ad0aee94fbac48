"""monitoring_plans: one row a measure that the service watches, as it was declared.

A plan is declared once: the baseline and the limit by which the future is judged must not move
with what is seen. A row is only ever added; a plan that is to be another is another plan.
"""

from __future__ import annotations

from registry.schema import vocabulary
from registry.schema.fields import Column, choice, date, free_text, number, text
from registry.schema.measures_named import measure_named, unit_named
from registry.schema.tables import Table

CHARTS = (
    "risk-adjusted CUSUM", "EWMA", "p chart", "u chart", "g chart", "t chart", "run chart",
)


def code_of_plan() -> Column:
    """The key field that a plan, its changes in practice and its signals carry."""
    return text(
        "Plan", "The plan's own code.", key=True, pattern=r"^[A-Z][A-Z0-9-]{1,19}$",
        pattern_words="capital letters, digits and hyphens, 2 to 20 of them, such as HARM-2026",
        example="HARM-2026",
    )


class MonitoringPlans(
    Table, table="monitoring_plans", label="Monitoring plans",
    definition="A row a measure that is watched, declared once; it is never changed afterwards.",
    only_added=True,
):
    """One measure watched: from which baseline, on which chart, with which limit."""

    plan_code = code_of_plan()
    declared_on = date("Declared on", "Day of the declaration.", required=True)
    declared_by = choice(
        "Declared by", "The role that declared it, never a name.", vocabulary.ROLES,
        required=True,
    )
    purpose = free_text("Purpose", "What the service wants to know, in a sentence.")
    measure = measure_named("The measure that is watched.", required=True)
    measure_unit = unit_named(required=True)
    baseline_from = date("Baseline from", "First day of the baseline.", required=True)
    baseline_to = date(
        "Baseline to", "Last day of the baseline; what is later is watched.", required=True,
    )
    planned_to = date(
        "Planned to",
        "Last day of the planned period; the chance of a false signal is given for the time "
        "from the baseline's end to then.",
    )
    chart = choice("Chart", "The chart whose limit makes a signal.", CHARTS, required=True)
    odds_ratio = number(
        "Target odds ratio",
        "The change that is to be found soon: worse by this odds ratio, or better by its "
        "inverse.",
        above=1.0, high=20.0, unit="ratio",
    )
    run_length = number(
        "Run length",
        "Mean number of units between false signals towards worse, as worked out at the "
        "declaration for the highest risk that the baseline leaves open (its one-sided 92 % "
        "limit); blank where there was no limit.",
        above=0.0, unit="units",
    )
    chart_limit = number(
        "Limit",
        "The limit of the chart towards worse, as worked out from the baseline at the "
        "declaration; blank where the baseline had too few events for one.", above=0.0,
        unit="chart units",
    )
    ended_on = date(
        "Ended on", "Day the watching was ended; blank while it goes on.", filled_later=True,
    )
