"""Headings that announce a direct identifier, in the languages services write.

Common practice, no source: the words are those of everyday forms in English, German, French,
Spanish, Italian, Portuguese and Dutch.
"""

from __future__ import annotations

import re
import unicodedata

from registry.privacy.kinds import (
    ADDRESS,
    BIRTH,
    EMAIL,
    HOSPITAL_NUMBER,
    NAME,
    NATIONAL_NUMBER,
    TELEPHONE,
)

# Whole words or runs of words, without accents; the first kind that fits is taken.
_WORDS: tuple[tuple[str, tuple[str, ...]], ...] = (
    (EMAIL, ("email", "e mail", "mail", "correo")),
    (TELEPHONE, ("tel", "tel no", "telephone", "phone", "mobile", "fax", "telefon", "telefono",
                 "telefone", "telefoon", "contact no", "contact number", "handy")),
    (BIRTH, ("dob", "d o b", "birth", "birthdate", "birthday", "born", "geb", "geburtsdatum",
             "geburt", "geboortedatum", "naissance", "nacimiento", "nascita", "nascimento")),
    (NATIONAL_NUMBER, ("nhs", "nhs no", "ssn", "social security", "national id",
                       "national number", "national no", "insurance no", "insurance number",
                       "passport", "personnummer", "bsn", "codice fiscale", "dni", "medicare",
                       "versichertennummer")),
    (ADDRESS, ("address", "street", "postcode", "post code", "postal code", "zip", "zip code",
               "adresse", "anschrift", "strasse", "plz", "wohnort", "domicilio", "direccion",
               "indirizzo", "endereco", "adres", "woonplaats", "home town", "hometown")),
    (NAME, ("surname", "forename", "firstname", "lastname", "initials", "nachname", "vorname",
            "nom", "prenom", "apellido", "apellidos", "nombre", "cognome", "nome", "naam",
            "voornaam", "achternaam", "next of kin", "nok")),
    (HOSPITAL_NUMBER, ("mrn", "hospital no", "hospital number", "hospital id", "hosp no",
                       "hosp number", "hosp id", "hosp nr", "unit no", "unit number",
                       "record no", "record number", "medical record", "chart no",
                       "chart number", "case notes no", "patient no", "patient number",
                       "patient id", "pat no", "pat id", "pat nr", "pt no", "pt id", "pid",
                       "patientennummer", "patienten nr", "fallnummer", "fall nr", "ipp",
                       "numero de historia", "nhc", "cartella", "accession no",
                       "accession number")),
)
# "Name" alone or of a person; but a vessel, a device and a file have names too.
_NAME_WORDS = {"name", "names"}
_THINGS = {
    "artery", "vessel", "catheter", "microcatheter", "agent", "drug", "device", "product",
    "file", "sheet", "site", "hospital", "study", "unit", "ward", "feeder", "pedicle", "vein",
    "procedure", "lesion", "variable", "column", "field", "wire",
}


def identifying_heading(heading: str) -> str | None:
    """The kind of direct identifier a heading announces, in words; None where it announces none."""
    words = heading_words(heading)
    padded = f" {' '.join(words)} "
    for kind, runs in _WORDS:
        if any(f" {run} " in padded for run in runs):
            return kind
    if _NAME_WORDS & set(words) and not _THINGS & set(words):
        return NAME
    return None


def heading_words(heading: str) -> list[str]:
    """A heading as small-letter words without accents and marks: "Hosp. No." is hosp, no."""
    split = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", heading)
    flat = unicodedata.normalize("NFKD", split.casefold().replace("ß", "ss"))
    plain = "".join(c for c in flat if not unicodedata.combining(c))
    return re.findall(r"[a-z]+|\d+", plain.replace("#", " no ").replace("№", " no "))
