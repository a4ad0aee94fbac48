"""Rules on tries to reach a patient."""

from __future__ import annotations

from registry.rules.columns import bring, day, sure
from registry.rules.deaths_and_life import dead_without_date
from registry.rules.finding import Hits, Tables, error, query
from registry.rules.words import column, sheet
from registry.schema import Contacts, Patients
from registry.schema.contacts import OF_THE_LIVING


@error("after death")
def reached_after_death(tables: Tables) -> Hits:
    """Somebody seen, or declining, after the date of death."""
    rows = bring(tables["contacts"], tables["patients"], [Patients.patient_id],
                 [Patients.death_date])
    rows = rows[sure(rows[Contacts.contact_date] > rows[Patients.death_date])
                & sure(rows[Contacts.result].isin(OF_THE_LIVING))]
    return Hits(
        "contacts", rows, Contacts.contact_date,
        rows[Contacts.result].astype("string") + " on " + day(rows[Contacts.contact_date])
        + ", after the death on " + day(rows[Patients.death_date]),
        "nothing done with the patient after the date of death",
        "correct this date, the result or the date of death",
    )


@query("found dead without a date")
def dead_at_contact(tables: Tables) -> Hits:
    """A try that found the patient dead, and no date of death: it may not be known yet."""
    rows = tables["contacts"]
    rows = dead_without_date(rows[sure(rows[Contacts.result] == "dead")], tables)
    return Hits(
        "contacts", rows, Contacts.result, "the patient was found to have died, and has no date "
        "of death", f"{column('patients', Patients.death_date)} in {sheet('patients')}",
        "ask for the date; until then the patient counts as lost from the last visit on",
    )
