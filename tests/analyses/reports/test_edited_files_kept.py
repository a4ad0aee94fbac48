"""Nothing that a person has edited is overwritten, and a folder is written whole or not at all."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from analyses.renderers.report_folder import ReportError, kept_words, text_writer, write_folder
from analyses.renderers.written_record import RECORD


def files(text: str) -> dict[str, object]:
    return {"talk.pptx": text_writer(text), "results.json": text_writer(text),
            "figures/one.svg": text_writer(text)}


def said_of(out: Path, made: dict[str, object]) -> tuple[str, ...]:
    """What a person is told after the files are written."""
    return kept_words(out, write_folder(out, made))


def texts(out: Path) -> dict[str, str]:
    return {p.relative_to(out).as_posix(): p.read_text() for p in out.rglob("*")
            if p.is_file() and p.name != RECORD}


@pytest.fixture
def out(tmp_path: Path) -> Path:
    folder = tmp_path / "report"
    assert said_of(folder, files("first")) == ()
    return folder


def test_what_nobody_touched_is_replaced_without_a_word(out):
    assert said_of(out, files("second")) == ()
    assert set(texts(out).values()) == {"second"}


def test_an_edited_file_stays_and_the_new_one_is_put_beside_it_with_a_sentence(out):
    (out / "talk.pptx").write_text("mine")
    (said,) = said_of(out, files("second"))
    assert "talk.pptx was changed" in said and "the new one is talk-new.pptx" in said
    assert texts(out) == {"talk.pptx": "mine", "talk-new.pptx": "second",
                          "results.json": "second", "figures/one.svg": "second"}


def test_the_edit_stays_however_often_the_report_is_made(out):
    (out / "talk.pptx").write_text("mine")
    write_folder(out, files("second"))
    write_folder(out, files("third"))
    assert texts(out)["talk.pptx"] == "mine" and texts(out)["talk-new.pptx"] == "third"
    assert "talk-new-2.pptx" not in texts(out)


def test_an_edit_of_the_one_beside_stays_too(out):
    (out / "talk.pptx").write_text("mine")
    write_folder(out, files("second"))
    (out / "talk-new.pptx").write_text("mine too")
    write_folder(out, files("third"))
    assert [texts(out)[name] for name in ("talk.pptx", "talk-new.pptx", "talk-new-2.pptx")] == [
        "mine", "mine too", "third"]


def test_a_file_that_somebody_else_put_there_stays(tmp_path):
    out = tmp_path / "report"
    out.mkdir()
    (out / "results.json").write_text("somebody's")
    (said,) = said_of(out, files("first"))
    assert "results.json" in said
    assert texts(out)["results.json"] == "somebody's"
    assert texts(out)["results-new.json"] == "first"


def test_a_file_of_the_same_bytes_is_nobodys_edit(out):
    (out / RECORD).unlink()
    assert said_of(out, files("first")) == ()
    assert "results-new.json" not in texts(out)


@pytest.mark.parametrize("text", ["", "[1]", "no json", "\0"])
def test_a_spoiled_record_loses_nothing(out, text):
    (out / RECORD).write_text(text)
    assert len(said_of(out, files("second"))) == 3
    assert texts(out)["talk.pptx"] == "first" and texts(out)["talk-new.pptx"] == "second"


def test_the_record_holds_names_and_hashes_only(out):
    record = json.loads((out / RECORD).read_text())
    assert set(record) == set(files(""))
    assert all(len(value) == 64 for value in record.values())


@pytest.mark.parametrize("which", ["talk.pptx", "results.json", "figures/one.svg", RECORD])
def test_a_file_that_cannot_be_replaced_leaves_the_whole_folder_as_it_was(out, which, monkeypatch):
    """As where a slide program holds a file open (Windows), or it is not ours."""
    real = Path.replace

    def refuses(self, target):
        if Path(target) == out / which:
            raise PermissionError(13, "Permission denied")
        return real(self, target)

    before, record = texts(out), (out / RECORD).read_text()
    # Only the new files are refused: putting the older one back has to work.
    monkeypatch.setattr(Path, "replace",
                        lambda self, target: (refuses if "/new/" in self.as_posix() else real)(
                            self, target))
    with pytest.raises(ReportError, match="cannot be written .* The folder is as it was"):
        write_folder(out, {**files("second"), "more/new.txt": text_writer("second")})
    assert texts(out) == before and (out / RECORD).read_text() == record
    assert not (out / "more").exists()
    assert [p.name for p in out.parent.iterdir()] == ["report"]


def test_a_file_where_a_folder_is_needed_leaves_everything_as_it_was(tmp_path):
    out = tmp_path / "report"
    out.mkdir()
    (out / "figures").write_text("a note")
    with pytest.raises(ReportError, match="The folder is as it was"):
        write_folder(out, files("first"))
    assert texts(out) == {"figures": "a note"}


def test_a_full_disk_is_told_in_a_sentence(out):
    def full(path: Path) -> None:
        raise OSError(28, "No space left on device")

    with pytest.raises(ReportError, match="No space left on device"):
        write_folder(out, {**files("second"), "last.txt": full})
    assert set(texts(out).values()) == {"first"}
