"""services: one row a site; what the methods section says of the service."""

from __future__ import annotations

from registry.schema.fields import date, integer, text, yes_no
from registry.schema.tables import Table


class Services(
    Table, table="services", label="Services",
    definition="A row a site: the period of enrolment and the suite's own count.",
):
    """One row a site."""

    site_id = text(
        "Site", "The site's code.", key=True, pattern=r"^[A-Z]{2,6}$",
        pattern_words="two to six capital letters, such as NORTH", example="NORTH",
    )
    enrolment_from = date(
        "Enrolment from", "First day of the period in which patients were enrolled.",
        required=True,
    )
    enrolment_to = date(
        "Enrolment to", "Last day of that period; blank while enrolment goes on.",
    )
    consecutive = yes_no(
        "Consecutive", "Whether every eligible patient of the period was enrolled.",
        required=True,
    )
    suite_log_procedures = integer(
        "Procedures in the suite's log",
        "AVM embolizations in the angiography suite's log for the period, to compare with the "
        "registry.",
        0, unit="procedures",
    )
