"""What a direct identifier can be, in the words a sentence uses."""

from __future__ import annotations

NAME = "a person's name"
HOSPITAL_NUMBER = "a hospital number"
NATIONAL_NUMBER = "a national number"
BIRTH = "a date of birth"
ADDRESS = "an address"
TELEPHONE = "a telephone number"
EMAIL = "an e-mail address"
DAY = "a date"
STUDY_CODE = "a study code"
LONG_NUMBER = "a long number, as of a patient, a document or a telephone"
