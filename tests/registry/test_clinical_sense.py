"""What cannot be true together is asked about: contradictions planted in a fictional service.

Each is planted in a patient of its own who gave no reason to ask before. Each must give exactly
one new finding, of its rule, about that patient; and without them the service is asked nothing
untrue.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from registry_cases import Tables, with_cells, with_row

from registry.intake.workbook_write import fill_workbook
from registry.old_sheets.front_door import take_in_file
from registry.rules import Finding, all_rules, check_rules
from registry.schema import TABLES
from registry.store.registry import open_registry
from synthetic_cohort import CohortSettings, make_cohort

PATIENTS, SEED = 400, 11
OLD_QUERIES = {
    "long gap in follow-up", "complete without catheter angiography", "recorded grade differs",
    "more agent than nidus", "complete occlusion, then residual",
}
"""What this service is asked by the rules that stood before: it has such gaps."""
DEVIATION = "not halted when called for"
"""A question about practice, not about the record: the fictional service really has these."""


@dataclass
class Patient:
    """A patient of the service with one lesion, and ways to write something wrong about them."""

    tables: Tables
    code: str

    def rows(self, table: str) -> list[int]:
        """Positions of the patient's rows."""
        own = self.tables[table]["patient_id"].eq(self.code).fillna(False).to_numpy()
        return [int(row) for row in own.nonzero()[0]]

    def value(self, table: str, field: str, row: int = 0) -> Any:
        """A value of the patient's row (the first, or another)."""
        return self.tables[table][field].iloc[self.rows(table)[row]]

    def change(self, table: str, row: int = 0, **cells: Any) -> None:
        """Change cells of one of the patient's rows."""
        self.tables = with_cells(self.tables, table, self.rows(table)[row], **cells)

    def add(self, table: str, **cells: Any) -> None:
        """One more row of the patient's lesion, with the next number."""
        key = TABLES[table].key[-1]
        given = {"patient_id": self.code, "lesion_no": 1, key: len(self.rows(table)) + 1}
        self.tables = with_row(self.tables, table, **{**given, **cells})

    def event(self, **cells: Any) -> None:
        """A complication on the day of the first session, like any other unless `cells` say so."""
        usual = {
            "session_no": 1, "phase": "embolization",
            "onset_date": self.day("sessions", "session_date"), "kind": "ischaemic stroke",
            "symptomatic": True, "deficit": "none", "rescue": "none", "death": False,
            "attribution": "probable",
        }
        self.add("complications", **{**usual, **cells})

    def day(self, table: str, field: str, row: int = 0, later: int = 0) -> pd.Timestamp:
        """A date of the patient's row, `later` days on."""
        return pd.Timestamp(self.value(table, field, row)) + pd.Timedelta(days=later)

    def visit(self, row: int = 0, later: int = 0) -> pd.Timestamp:
        """The day of a visit, `later` days on."""
        return self.day("follow_ups", "follow_up_date", row, later)

    def end(self) -> pd.Timestamp:
        """The day of the last treatment."""
        return max(self.tables[table][field].iloc[row] for table, field in (
            ("sessions", "session_date"), ("resections", "resection_date"),
            ("radiosurgeries", "radiosurgery_date")) for row in self.rows(table))

    def die(self, day: pd.Timestamp) -> None:
        """A date of death."""
        self.change("patients", death_date=day, death_cause="other")

    def last_visit_of_the_dead(self) -> None:
        """The patient is dead at the last visit, and has a date of death on that day."""
        self.die(self.visit(-1))
        self.change("follow_ups", -1, mrs=6, haemorrhage_since=None)


@dataclass(frozen=True)
class Planted:
    """A contradiction: its words, the rule that asks, whether it is an error, who it suits."""

    words: str
    rule: str
    severity: str
    plant: Callable[[Patient], None]
    suits: Callable[[Patient], bool] = lambda patient: True


PLANTED: list[Planted] = []


def planted(
    words: str, rule: str, severity: str = "query",
    suits: Callable[[Patient], bool] = lambda patient: True,
) -> Callable[[Callable[[Patient], None]], Callable[[Patient], None]]:
    """Enter a function that writes something contradictory into the list."""
    def enter(plant: Callable[[Patient], None]) -> Callable[[Patient], None]:
        PLANTED.append(Planted(words, rule, severity, plant, suits))
        return plant
    return enter


def error(words: str, rule: str, **more: Any) -> Any:
    """As `planted`, an error."""
    return planted(words, rule, "error", **more)


def resected(patient: Patient) -> bool:
    """Operated on."""
    return len(patient.rows("resections")) == 1


def two_sessions(patient: Patient) -> bool:
    """At least two sessions, more than a week apart."""
    return len(patient.rows("sessions")) >= 2 and patient.day(
        "sessions", "session_date", 1) > patient.day("sessions", "session_date", later=7)


def presented(*how: str) -> Callable[[Patient], bool]:
    """Presented in one of these ways."""
    return lambda patient: patient.value("patients", "presentation") in how


def at(*sites: str) -> Callable[[Patient], bool]:
    """With a lesion at one of these sites."""
    return lambda patient: patient.value("lesions", "location") in sites


def copolymer(patient: Patient) -> bool:
    """Whose first injection is of a copolymer that nobody had to halt."""
    return str(patient.value("injections", "agent")).startswith("EVOH")


# Errors: a death without its date.

@error("mRS 6 at a visit", "death without a date")
def _(p: Patient) -> None:
    p.change("follow_ups", -1, mrs=6)


@error("a worst mRS of 6", "death without a date")
def _(p: Patient) -> None:
    p.event(mrs_worst=6)


@error("mRS 6 at 30 days", "death without a date")
def _(p: Patient) -> None:
    p.event(mrs_30d=6)


@error("mRS 6 at 90 days", "death without a date")
def _(p: Patient) -> None:
    p.event(mrs_90d=6)


@error("grade V", "death without a date")
def _(p: Patient) -> None:
    p.event(clavien_dindo="V")


@error("death from an event", "death without a date")
def _(p: Patient) -> None:
    p.event(death=True)


# Errors: signs of life after the death.

@error("a living visit after the death", "after death",
       suits=lambda p: len(p.rows("follow_ups")) == 1)
def _(p: Patient) -> None:
    p.die(p.visit(later=-3))


@error("a session after the death", "after death", suits=two_sessions)
def _(p: Patient) -> None:
    p.last_visit_of_the_dead()
    p.change("sessions", -1, session_date=p.visit(-1, later=5))


@error("an operation after the death", "after death", suits=resected)
def _(p: Patient) -> None:
    p.last_visit_of_the_dead()
    p.change("resections", resection_date=p.visit(-1, later=5))


@error("radiosurgery after the death", "after death")
def _(p: Patient) -> None:
    p.last_visit_of_the_dead()
    p.add("radiosurgeries", radiosurgery_date=p.visit(-1, later=5), margin_dose_gy=18.0)


@error("alive at 90 days, dead before", "after death",
       suits=lambda p: len(p.rows("follow_ups")) == 1)
def _(p: Patient) -> None:
    p.last_visit_of_the_dead()
    p.event(session_no=None, phase="follow-up", onset_date=p.visit(later=-20), mrs_90d=2)


# Queries: severity.

@planted("death graded IVb", "death with a lower severity")
def _(p: Patient) -> None:
    p.last_visit_of_the_dead()
    p.event(death=True, clavien_dindo="IVb")


@planted("grade V, and nobody died of it", "severity of a death without the death")
def _(p: Patient) -> None:
    p.last_visit_of_the_dead()
    p.event(clavien_dindo="V")


@planted("an open operation graded II", "open operation below grade IIIb")
def _(p: Patient) -> None:
    p.event(rescue="open operation", clavien_dindo="II")


@planted("a permanent deficit without symptoms", "deficit without symptoms")
def _(p: Patient) -> None:
    p.event(deficit="permanent", symptomatic=False)


@planted("a permanent deficit, and the mRS of before", "permanent deficit, and mRS as before",
         suits=lambda p: p.value("patients", "mrs_before") <= 2)
def _(p: Patient) -> None:
    before = p.value("patients", "mrs_before")
    p.event(deficit="permanent", mrs_worst=before + 1, mrs_90d=before)


# Queries: site and presentation.

@planted("a thalamus that is not eloquent", "eloquent site, and not eloquent",
         suits=at("thalamus"))
def _(p: Patient) -> None:
    p.change("lesions", eloquent=False, sm_grade_recorded=None)


@planted("a brainstem that is not eloquent", "eloquent site, and not eloquent",
         suits=at("brainstem"))
def _(p: Patient) -> None:
    p.change("lesions", eloquent=False, sm_grade_recorded=None)


@planted("found by chance, mRS 4", "incidental, and not well", suits=presented("incidental"))
def _(p: Patient) -> None:
    p.change("patients", mrs_before=4)


@planted("found by chance, coma score 11", "incidental, and not awake",
         suits=presented("incidental"))
def _(p: Patient) -> None:
    p.change("patients", gcs=11)


@planted("a headache with a coma score of 7", "coma score does not fit the presentation",
         suits=presented("headache"))
def _(p: Patient) -> None:
    p.change("patients", gcs=7)


@planted("PICA to a frontal lesion", "feeder of another territory", suits=at("frontal"))
def _(p: Patient) -> None:
    p.change("injections", feeding_artery="PICA", feeder_type="terminal")


# Queries: bleeds and visits.

@planted("bled since, and no row", "bled since, and no bleed")
def _(p: Patient) -> None:
    p.change("follow_ups", -1, haemorrhage_since=True)


@planted("treated again, and no row", "treated again, and no treatment")
def _(p: Patient) -> None:
    p.change("follow_ups", -1, treated_again=True)


@planted("a visit before the first treatment", "follow-up before the first treatment",
         suits=lambda p: p.day("sessions", "session_date", later=-20) > p.day(
             "patients", "presentation_date"))
def _(p: Patient) -> None:
    p.add("follow_ups", follow_up_date=p.day("sessions", "session_date", later=-10),
          imaging="none", mrs=p.value("patients", "mrs_before"))


@planted("one bleed in two rows", "two bleeds within a week")
def _(p: Patient) -> None:
    for later in (10, 14):
        p.add("haemorrhages", haemorrhage_date=p.visit(-1, later=later), date_known_to="day",
              cause="spontaneous")


@planted("one bleed in two tables", "one bleed in two tables?")
def _(p: Patient) -> None:
    p.event(kind="intracranial haemorrhage")
    p.add("haemorrhages", haemorrhage_date=p.day("sessions", "session_date", later=2),
          date_known_to="day", cause="a procedure")


# Queries: events, sessions and operations.

@planted("an event two months after its session", "event long after its session")
def _(p: Patient) -> None:
    p.event(phase="follow-up", onset_date=p.day("sessions", "session_date", later=61))


@planted("an event between two sessions counted to the later", "onset before the session",
         suits=two_sessions)
def _(p: Patient) -> None:
    p.event(session_no=2, onset_date=p.day("sessions", "session_date", later=3))


@planted("a death on the day after a treatment, and no event",
         "death after treatment without an event",
         suits=lambda p: len(p.rows("follow_ups")) == 1 and len(p.rows("sessions")) == 1)
def _(p: Patient) -> None:
    day = p.end() + pd.Timedelta(days=1)
    p.die(day)
    p.change("follow_ups", mrs=6, follow_up_date=day, imaging="none", occlusion=None,
             haemorrhage_since=None)


@planted("an emergency operation, and no event", "emergency operation without an event",
         suits=lambda p: resected(p) and p.day("resections", "resection_date", later=-30) > p.day(
             "patients", "presentation_date"))
def _(p: Patient) -> None:
    p.change("resections", urgency="emergency")


@planted("a vein closed on purpose as a complication", "vein closed on purpose, and an event")
def _(p: Patient) -> None:
    p.change("injections", venous_occlusion_intended=True)
    p.event(kind="outflow vein occlusion", symptomatic=False, injection_no=1)


# Queries: delivery.

@planted("resistance, and not halted", DEVIATION, suits=copolymer)
def _(p: Patient) -> None:
    p.change("injections", resistance_felt=True, delivery_halted=False)


@planted("view lost, and not halted", DEVIATION, suits=copolymer)
def _(p: Patient) -> None:
    p.change("injections", view_lost=True, delivery_halted=False)


@planted("reflux of 45 mm with a limit of 20, and no stop",
         "reflux far past the limit without a stop", suits=copolymer)
def _(p: Patient) -> None:
    p.change("injections", reflux_mm=45.0, reflux_limit_mm=20.0, reflux_stops=0)


@planted("cyanoacrylate without its share", "cyanoacrylate without its share",
         suits=lambda p: p.value("injections", "agent") == "n-butyl cyanoacrylate")
def _(p: Patient) -> None:
    p.change("injections", cyanoacrylate_pct=None)


# Queries: radiosurgery and units.

@planted("35 Gy in one fraction", "dose does not fit the fractions")
def _(p: Patient) -> None:
    p.add("radiosurgeries", radiosurgery_date=p.end(), margin_dose_gy=35.0, fractions=1,
          target_volume_ml=2.0)


@planted("24 Gy in one fraction to 40 mL", "dose does not fit the volume")
def _(p: Patient) -> None:
    p.add("radiosurgeries", radiosurgery_date=p.end(), margin_dose_gy=24.0, fractions=1,
          target_volume_ml=40.0)


@planted("a nidus of 3 mm", "nidus under 5 mm")
def _(p: Patient) -> None:
    p.change("lesions", nidus_length_mm=3.1, nidus_width_mm=None, nidus_height_mm=None,
             sm_grade_recorded=None)


@planted("a nidus of 6.2 × 5 × 4 where the others have tens", "diameters in centimetres?")
def _(p: Patient) -> None:
    p.change("lesions", nidus_length_mm=6.2, nidus_width_mm=5.0, nidus_height_mm=None,
             sm_grade_recorded=None)


@planted("a blood loss of 0.4 mL", "blood loss under 10 mL", suits=resected)
def _(p: Patient) -> None:
    p.change("resections", blood_loss_ml=0.4)


def who(findings: list[Finding]) -> set[tuple[str, str, str | None, tuple[Any, ...]]]:
    """What is asked, and about which row."""
    return {(f.rule, f.severity, f.patient_id, (f.table, *f.key.values())) for f in findings}


@cache
def service() -> Tables:
    """The fictional service, nothing planted."""
    return make_cohort(PATIENTS, SEED).tables


def quiet() -> Iterator[str]:
    """Patients with one lesion embolized through arteries, alive, seen afterwards, no event and
    nothing asked: what is planted in them is all there is to ask.
    """
    tables = service()
    asked = {finding.patient_id for finding in check_rules(tables)}
    patients = tables["patients"]
    lesions = tables["lesions"]["patient_id"].value_counts()
    alive = patients.loc[patients["death_date"].isna() & patients[
        "presentation_date_known_to"].eq("day"), "patient_id"]
    eventful = set(tables["complications"]["patient_id"])
    seen = set(tables["follow_ups"]["patient_id"]) & set(tables["injections"]["patient_id"])
    by_vein = set(tables["sessions"].loc[
        tables["sessions"]["route"].ne("arterial"), "patient_id"])
    for code in alive:
        if lesions[code] == 1 and code in seen - eventful - asked - by_vein:
            yield code


@cache
def hosts() -> dict[str, str]:
    """Words of a contradiction → the patient it is planted in, each another."""
    free = list(quiet())
    chosen: dict[str, str] = {}
    # Those that suit few patients choose first.
    suited = {one.words: [code for code in free if one.suits(Patient(service(), code))]
              for one in PLANTED}
    for words in sorted(suited, key=lambda words: len(suited[words])):
        chosen[words] = next(code for code in suited[words] if code not in chosen.values())
    return chosen


@cache
def with_all() -> Tables:
    """The service with every contradiction planted."""
    tables = service()
    for one in PLANTED:
        patient = Patient(tables, hosts()[one.words])
        one.plant(patient)
        tables = patient.tables
    return tables


@cache
def asked_of_all() -> set[tuple[str, str, str | None, tuple[Any, ...]]]:
    """What the planted contradictions add."""
    return who(check_rules(with_all())) - who(check_rules(service()))


def test_thirty_contradictions_lie_in_thirty_patients() -> None:
    assert len(PLANTED) == len(set(hosts().values())) >= 30
    assert len({one.rule for one in PLANTED}) >= 25


@pytest.mark.parametrize("one", PLANTED, ids=lambda one: one.words)
def test_each_gives_one_question_about_its_patient(one: Planted) -> None:
    found = [(rule, severity) for rule, severity, code, _ in asked_of_all()
             if code == hosts()[one.words]]
    assert found == [(one.rule, one.severity)]


def test_nobody_else_is_asked_and_nothing_more() -> None:
    assert len(asked_of_all()) == len(PLANTED)
    assert {code for _, _, code, _ in asked_of_all()} == set(hosts().values())


def test_errors_keep_their_patients_out_and_questions_let_theirs_in(tmp_path: Path) -> None:
    """Through the front door, as a workbook: who has an error waits, all the others are in."""
    chosen = set(hosts().values())
    some = {name: table[table["patient_id"].isin(chosen)].reset_index(drop=True)
            if "patient_id" in table else table for name, table in with_all().items()}
    book, registry = tmp_path / "book.xlsx", open_registry(tmp_path / "registry.sqlite")
    fill_workbook(book, some)
    take_in_file(book, registry, by="QI1")
    out = {hosts()[one.words] for one in PLANTED if one.severity == "error"}
    assert set(registry.held()["patient_id"]) == out
    assert set(registry.tables()["patients"]["patient_id"]) == chosen - out


@pytest.mark.parametrize(("seed", "settings"), [
    (1, CohortSettings()), (2, CohortSettings.demo()), (3, CohortSettings.demo()),
    (4, CohortSettings(complication_risk=0.25, two_lesions=0.4)),
    (5, CohortSettings(bleed_under=10.0, bleed_before_ruptured=20.0, not_embolized=0.2)),
])
def test_a_service_without_contradictions_is_asked_nothing_untrue(
    seed: int, settings: CohortSettings,
) -> None:
    tables = make_cohort(600, seed, settings).tables
    findings = check_rules(tables)
    assert {f.rule for f in findings} <= OLD_QUERIES | {DEVIATION}
    injections = tables["injections"]
    went_on = [f.index for f in findings if f.rule == DEVIATION]
    called = injections["view_lost"].fillna(False) | injections["resistance_felt"].fillna(False)
    wrong = called & ~injections["delivery_halted"].astype("boolean").fillna(True)
    assert went_on == list(injections.index[wrong])


def test_each_question_says_where_what_and_how_to_mend_it() -> None:
    rules = {rule.name for rule in all_rules()}
    for finding in check_rules(with_all()):
        assert finding.rule in rules
        assert finding.field is not None
        for words in (finding.found, finding.wanted, finding.mend):
            assert len(words) > 10 and "nan" not in words and "<NA>" not in words, finding
