"""Direct identifiers: known by the heading and by the content, never by a clinical word."""

from __future__ import annotations

import datetime as dt

import pytest

from registry.intake.cell import shown
from registry.privacy.contents import identifying_content, looks_like_names
from registry.privacy.headings import identifying_heading
from registry.schema import TABLES
from synthetic_cohort.old_sheet_words import KIND_WORDS, WORDS


@pytest.mark.parametrize(("heading", "kind"), [
    ("Name", "name"), ("Patient name", "name"), ("Nachname", "name"), ("Prénom", "name"),
    ("Hosp. No.", "hospital number"), ("MRN", "hospital number"), ("Pat. ID", "hospital number"),
    ("DOB", "date of birth"), ("D.O.B.", "date of birth"), ("Geb.-Datum", "date of birth"),
    ("Fecha de nacimiento", "date of birth"), ("Tel", "telephone"), ("Mobile", "telephone"),
    ("E-mail", "e-mail"), ("Home address", "address"), ("Post code", "address"),
    ("NHS no", "national number"), ("SSN", "national number"), ("Next of kin", "name"),
])
def test_headings_that_announce_a_person(heading: str, kind: str) -> None:
    assert kind in (identifying_heading(heading) or "")


def test_no_heading_of_the_schema_but_the_study_code_announces_a_person() -> None:
    for table in TABLES.values():
        for spec in table.fields:
            if spec.name != "patient_id":
                assert identifying_heading(spec.label) is None, spec.label
                assert identifying_heading(spec.name) is None, spec.name


@pytest.mark.parametrize("heading", [
    "Feeding artery name", "Catheter name", "Size", "SM gr.", "S1 vol (cc)", "Sex", "Location",
    "No of feeders", "mRS pre", "Relative contraindication", "Contrast (ml)", "Cell saver",
])
def test_clinical_headings_announce_nobody(heading: str) -> None:
    assert identifying_heading(heading) is None


# Numbers kept for examples: Ofcom's 01632 960xxx (drama), 555-01xx (North America), the domain
# example.org (RFC 2606).
@pytest.mark.parametrize("content", [
    "01632 960123", "+44 1632 960123", "(202) 555-0123", "202-555-0123", "someone@example.org",
    "call 01632 960123 after 6", "MRN 12345", "hosp no: 98765", "1234567", 12345678, 1234567.0,
    "078-05-1120", "DOB 3/4/1960", "born 12.3.55", "12 High Street", "Hauptstraße 5",
    "seen by Dr Smith", "Mrs Jones phoned", "wife Maria informed", "SW1A 1AA",
])
def test_content_that_names_a_person(content) -> None:
    assert identifying_content(content) is not None
    assert str(content) not in shown(content)


@pytest.mark.parametrize("content", [
    "3.5x2.8x3 cm", "MCA x3, PCA x1", "2.4cc + 1.1", "0-1", "12/03/2015", "3.4.15", "03.04.2015",
    "2015-03-12 00:00:00", "12 Jan 2015", "Left Basal Ganglia", "Rt Frontal", "N-012345",
    "EVOH 6 %", "OP01", "transient dysphasia, resolved day 3", "groin haematoma 4 cm", 20150304,
    "20150304", 99999, 41.5, True, None, dt.datetime(1960, 1, 1), "2014-2016", "1.5/1.5/1.0/0.5",
    "2 feeders close to M1", "ICH; deficit, recovered",
])
def test_clinical_content_names_nobody(content) -> None:
    assert identifying_content(content) is None


def test_no_word_of_the_schema_or_of_the_old_sheet_names_a_person() -> None:
    words = [value for table in TABLES.values() for spec in table.fields for value in spec.values]
    words += [word for kinds in WORDS.values() for texts in kinds.values() for word in texts]
    words += list(KIND_WORDS.values())
    assert [word for word in words if identifying_content(word)] == []


def test_a_column_of_capitalised_pairs_reads_like_names_unless_the_trade_knows_the_words() -> None:
    known = frozenset({"basal", "ganglia", "corpus", "callosum", "frontal", "left", "right"})
    unknown = ["Qwer Tyui", "Asdf Ghjk", "Zxcv Bnml", "Poiu Ytre", "Lkjh Gfds"]
    assert looks_like_names(unknown, known)
    assert not looks_like_names(["Left Frontal", "Basal Ganglia", "Corpus Callosum"] * 3, known)
    assert not looks_like_names(["Q1 Zox", "W2 Xox", "E3 Cox", "R4 Vox", "T5 Box"], known)
