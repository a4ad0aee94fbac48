"""Study codes from the service's own numbers: the same every year, never two patients in one."""

from __future__ import annotations

import hashlib
import hmac
import re
from pathlib import Path

import pytest

from registry.privacy.key_file import KeyFileError, open_key
from registry.privacy.study_codes import StudyCodes
from registry.schema import TABLES

PATTERN = TABLES["patients"].by_name["patient_id"].pattern


def test_a_code_is_the_keyed_hash_of_the_number(tmp_path: Path) -> None:
    """HMAC-SHA256 as the standard library has it (RFC 2104); six digits of its first 64 bits."""
    codes = StudyCodes(tmp_path / "key", "N")
    digest = hmac.new(open_key(tmp_path / "key"), b"12345", hashlib.sha256).hexdigest()
    assert codes.code("12345") == f"N-{int(digest[:16], 16) % 10**6:06d}"
    assert re.fullmatch(PATTERN, codes.code("12345"))


def test_hmac_sha256_is_that_of_rfc_4231() -> None:
    """Test case 2 of RFC 4231."""
    found = hmac.new(b"Jefe", b"what do ya want for nothing?", hashlib.sha256).hexdigest()
    assert found == "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"


def test_the_same_patient_meets_again_next_year_whatever_the_spreadsheet_did(
    tmp_path: Path,
) -> None:
    first = StudyCodes(tmp_path / "key", "N")
    code = first.code("00123 456")
    first.save()
    again = StudyCodes(tmp_path / "key", "N")
    assert {again.code(n) for n in ("123456", 123456, 123456.0, " 123-456 ", "0123456")} == {code}
    assert again.code("123457") != code


def test_ten_thousand_numbers_have_ten_thousand_codes_and_keep_them(tmp_path: Path) -> None:
    """With six digits some 50 of 10,000 collide by the birthday problem: they are told apart."""
    codes = StudyCodes(tmp_path / "key", "N")
    given = {number: codes.code(number) for number in range(1, 10_001)}
    assert len(set(given.values())) == 10_000
    codes.save()
    again = StudyCodes(tmp_path / "key", "N")
    assert all(again.code(number) == given[number] for number in reversed(range(1, 10_001)))


def test_key_and_table_are_readable_by_their_owner_alone_and_hold_no_number(
    tmp_path: Path,
) -> None:
    codes = StudyCodes(tmp_path / "key", "N")
    codes.code("987654321")
    codes.save()
    for path in (tmp_path / "key", tmp_path / "key.codes"):
        assert path.stat().st_mode & 0o777 == 0o600
        assert "987654321" not in path.read_text(encoding="ascii")


def test_a_key_that_others_may_read_is_refused(tmp_path: Path) -> None:
    open_key(tmp_path / "key", make=True)
    (tmp_path / "key").chmod(0o640)
    with pytest.raises(KeyFileError, match="may be read by others"):
        StudyCodes(tmp_path / "key", "N")


@pytest.mark.parametrize("text", ["", "abc", "00" * 16, "zz" * 32])
def test_a_file_that_holds_no_key_is_refused_and_not_shown(tmp_path: Path, text: str) -> None:
    path = tmp_path / "key"
    path.write_text(text, encoding="ascii")
    path.chmod(0o600)
    with pytest.raises(KeyFileError) as fault:
        open_key(path)
    assert not text or text not in str(fault.value)


def test_another_key_gives_other_codes(tmp_path: Path) -> None:
    one, two = (StudyCodes(tmp_path / name, "N") for name in ("a", "b"))
    assert [one.code(n) for n in range(1, 9)] != [two.code(n) for n in range(1, 9)]


def test_a_trial_writes_nothing(tmp_path: Path) -> None:
    codes = StudyCodes(tmp_path / "key", "N", trial=True)
    codes.code(1)
    codes.save()
    assert codes.temporary and list(tmp_path.iterdir()) == []


def test_a_damaged_table_is_a_sentence(tmp_path: Path) -> None:
    codes = StudyCodes(tmp_path / "key", "N")
    codes.code(1)
    codes.save()
    (tmp_path / "key.codes").write_text("nonsense\n", encoding="ascii")
    with pytest.raises(KeyFileError, match="damaged"):
        StudyCodes(tmp_path / "key", "N")
