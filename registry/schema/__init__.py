"""The registry's schema: every table, field, unit and allowed value, stated once.

`TABLES` maps each table's name to its description, parents before children. Whatever is
generated from the schema (dictionary, workbook, SQL, checks, Table Schema) reads `TABLES` when
it is called, so a field added to a table module appears everywhere.
"""

from __future__ import annotations

from registry.schema.actions import Actions
from registry.schema.complications import Complications
from registry.schema.conference_reviews import ConferenceReviews
from registry.schema.contacts import Contacts
from registry.schema.event_reviews import EventReviews
from registry.schema.fields import FieldSpec
from registry.schema.follow_ups import FollowUps
from registry.schema.haemorrhages import Haemorrhages
from registry.schema.injections import Injections
from registry.schema.lesions import Lesions
from registry.schema.monitoring_plans import MonitoringPlans
from registry.schema.patients import Patients
from registry.schema.practice_changes import PracticeChanges
from registry.schema.radiosurgeries import Radiosurgeries
from registry.schema.resections import Resections
from registry.schema.services import Services
from registry.schema.sessions import Sessions
from registry.schema.signals import Signals
from registry.schema.tables import Table, TableSpec

TABLES: dict[str, TableSpec] = {
    table.spec.name: table.spec
    for table in (
        Services, Patients, Lesions, Sessions, Injections, Complications, Resections,
        Radiosurgeries, FollowUps, Haemorrhages, Contacts, EventReviews, ConferenceReviews,
        Actions, MonitoringPlans, PracticeChanges, Signals,
    )
}

# Tables without which there is nothing to analyse: a workbook or CSV folder must have them.
REQUIRED_TABLES = ("patients", "lesions", "sessions")

__all__ = [
    "REQUIRED_TABLES", "TABLES", "Actions", "Complications", "ConferenceReviews", "Contacts",
    "EventReviews", "FieldSpec", "FollowUps", "Haemorrhages", "Injections", "Lesions",
    "MonitoringPlans", "Patients", "PracticeChanges", "Radiosurgeries", "Resections",
    "Services", "Sessions", "Signals", "Table", "TableSpec",
]
