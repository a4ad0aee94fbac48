"""From a number of the service's own to its study code, and back. For the screen inside only.

The table of codes holds keyed hashes and no numbers, so a code can only be led back by whoever
has the key and a list of numbers that it may be one of. Nothing is written.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path

from registry.privacy.key_file import KeyFileError
from registry.privacy.study_codes import StudyCodes
from registry.schema.patients import PATIENT_ID


def code_of(number: str, key_file: str | Path, prefix: str) -> str:
    """The study code that the service's number was given. Raises KeyFileError where it has none."""
    found = _codes(key_file, prefix).given(number)
    if found is None:
        raise KeyFileError(
            f"That number has no study code with the prefix {prefix} under {Path(key_file).name}. "
            "Check the number and the prefix; a code is given when the old spreadsheet is taken "
            "in with this key.")
    return found


def number_of(code: str, numbers: Iterable[str], key_file: str | Path) -> str:
    """Which of the service's own numbers a study code was made from.

    Raises KeyFileError where the code is none, or none of the numbers was given it.
    """
    if not re.fullmatch(PATIENT_ID, code):
        raise KeyFileError(f"{code} is no study code, such as N-048213.")
    codes = _codes(key_file, code.partition("-")[0])
    for number in numbers:
        if number.strip() and codes.given(number) == code:
            return number.strip()
    raise KeyFileError(
        f"None of the numbers given was made into {code} under {Path(key_file).name}. Give the "
        "list of the service's own numbers, one a line, that the patient stands in.")


def read_numbers(path: str | Path) -> list[str]:
    """The service's own numbers, one a line. Raises KeyFileError where the file cannot be read."""
    place = Path(path)
    try:
        return place.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as fault:
        raise KeyFileError(
            f"{place.name} cannot be read as a text file with one number a line; save the column "
            "of numbers as text.") from fault


def _codes(key_file: str | Path, prefix: str) -> StudyCodes:
    if not Path(key_file).exists():
        raise KeyFileError(f"There is no key file {key_file}; give the service's own.")
    return StudyCodes(key_file, prefix, trial=True)
