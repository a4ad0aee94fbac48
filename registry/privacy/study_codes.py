"""Study codes made from the service's own numbers, the same ones every year.

A number's HMAC-SHA256 (RFC 2104, FIPS 180-4) under the service's key gives its six digits. Two
numbers that would share a code are told apart by a table of those already given, which holds
the keyed hashes and never the numbers; it lies beside the key, readable by its owner alone.
"""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
from pathlib import Path
from typing import Any

from registry.privacy.key_file import KeyFileError, check_private, open_key, write_private
from registry.problems.cell_text import as_text, clean, plain_dashes

DIGITS = 6
_PREFIX = re.compile(r"[A-Z]{1,4}")
_LINE = re.compile(r"([0-9a-f]{64}) ([A-Z]{1,4}-\d{6})")


class StudyCodes:
    """The study codes of one service under one key.

    `key_file` is the key's path; the table of codes lies beside it as "<key file>.codes". With
    `trial`, nothing is written: where there is no key yet, one is used that is then forgotten,
    and `temporary` is true.
    """

    def __init__(self, key_file: str | Path, prefix: str, *, trial: bool = False) -> None:
        if not _PREFIX.fullmatch(prefix):
            raise KeyFileError(f'The prefix "{prefix}" is not one to four capital letters.')
        self._prefix, self._trial = prefix, trial
        self._table = Path(f"{key_file}.codes")
        key = open_key(key_file, make=not trial)
        self.temporary = key is None
        self._key = key or secrets.token_bytes(32)
        self._codes = {} if self.temporary else self._read()
        self._given = {code: digest for digest, code in self._codes.items()}
        self._new = False

    def code(self, number: Any) -> str:
        """The study code of one of the service's own numbers, such as N-048213.

        `number` is text or a number as a spreadsheet holds it. Spaces, hyphens, letter case and
        leading zeros do not count, because spreadsheets lose them. Raises ValueError for a blank,
        and KeyFileError where every code is taken.
        """
        plain = plain_number(number)
        if not plain:
            raise ValueError("a study code needs a number")
        digest = hmac.new(self._key, plain.encode(), hashlib.sha256).hexdigest()
        place = f"{self._prefix} {digest}"
        if place not in self._codes:
            code = self._free(int(digest[:16], 16))
            self._codes[place], self._given[code], self._new = code, place, True
        return self._codes[place]

    def given(self, number: Any) -> str | None:
        """The study code that a number was given before; None where it never was."""
        plain = plain_number(number).encode()
        digest = hmac.new(self._key, plain, hashlib.sha256).hexdigest()
        return self._codes.get(f"{self._prefix} {digest}")

    def save(self) -> None:
        """Write the table of codes if it gained one; a trial writes nothing."""
        if self._new and not self._trial:
            lines = sorted(f"{place.split()[1]} {code}" for place, code in self._codes.items())
            write_private(self._table, "\n".join(lines) + "\n")
            self._new = False

    def _free(self, start: int) -> str:
        for step in range(10**DIGITS):
            code = f"{self._prefix}-{(start + step) % 10**DIGITS:0{DIGITS}d}"
            if code not in self._given:
                return code
        raise KeyFileError(f"Every study code with the prefix {self._prefix} is taken.")

    def _read(self) -> dict[str, str]:
        if not self._table.exists():
            return {}
        check_private(self._table)
        found = {}
        for line in self._table.read_text(encoding="ascii", errors="replace").splitlines():
            match = _LINE.fullmatch(line)
            if not match:
                raise KeyFileError(f"{self._table.name} is damaged; restore it from a copy.")
            found[f"{match[2].partition('-')[0]} {match[1]}"] = match[2]
        return found


def plain_number(number: Any) -> str:
    """A service's number as it is hashed: no spaces, marks or leading zeros, capital letters."""
    text = plain_dashes(clean(as_text(number))).upper()
    return re.sub(r"[\s\-_/.]+", "", text).lstrip("0")
