"""services: one row a site; what the methods section says of the service."""

from __future__ import annotations

import pandera.pandas as pa

from registry.schema.fields import Date, Int, Text, YesNo, date, integer, text, yes_no


class Services(pa.DataFrameModel):
    """One row a site."""

    site_id: Text = text(
        "Site", "The site's code.", key=True, pattern=r"^[A-Z]{2,6}$",
        pattern_words="two to six capital letters, such as NORTH", example="NORTH",
    )
    enrolment_from: Date = date(
        "Enrolment from", "First day of the period in which patients were enrolled.",
        required=True,
    )
    enrolment_to: Date = date(
        "Enrolment to", "Last day of that period; blank while enrolment goes on.",
    )
    consecutive: YesNo = yes_no(
        "Consecutive", "Whether every eligible patient of the period was enrolled.",
        required=True,
    )
    suite_log_procedures: Int = integer(
        "Procedures in the suite's log",
        "AVM embolizations in the angiography suite's log for the period, to compare with the "
        "registry.",
        0, unit="procedures",
    )

    class Config:
        strict = True
        metadata = {
            "table": "services", "label": "Services",
            "definition": "A row a site: the period of enrolment and the suite's own count.",
        }
