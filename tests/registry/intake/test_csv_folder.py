"""A folder of CSV files: marks, encodings, quotation marks, what may be absent."""

from __future__ import annotations

import csv

import pandas as pd
import pytest

from registry.problems.problem import SourceError
from registry.schema import TABLES


def rewrite(path, **options):
    """Write a CSV file again with another encoding, separating mark or way with quotes."""
    encoding = options.pop("encoding", "utf-8")
    with path.open(newline="", encoding="utf-8") as file:
        rows = list(csv.reader(file))
    with path.open("w", newline="", encoding=encoding) as file:
        csv.writer(file, **options).writerows(rows)


def everything_went_in(batch, tables):
    assert not batch.held, [p.sentence() for p in batch.problems]
    for name, frame in tables.items():
        pd.testing.assert_frame_equal(batch.tables[name], frame)


def test_files_written_by_pandas(csv_path, tables, read):
    batch = read(csv_path)
    everything_went_in(batch, tables)
    assert batch.source_kind == "csv folder" and not batch.problems
    assert str(batch.places["patients"][0]) == "patients.csv, row 2"


@pytest.mark.parametrize("mark", [";", "\t", "|"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_separating_marks_and_encodings(csv_path, tables, read, mark, encoding):
    for path in csv_path.iterdir():
        rewrite(path, delimiter=mark, encoding=encoding)
    everything_went_in(read(csv_path), tables)


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
def test_utf_16_without_its_mark(csv_path, tables, read, encoding):
    for path in csv_path.iterdir():
        rewrite(path, encoding=encoding)
    everything_went_in(read(csv_path), tables)


def test_an_encoding_that_is_not_utf_8_is_said(csv_path, read):
    header = csv_path / "lesions.csv"
    text = header.read_text().replace("lesion_no", "lesion_no").replace("left", "left")
    header.write_bytes(text.replace("frontal", "front\u00e4l").encode("cp1252"))
    batch = read(csv_path)
    assert "lesions.csv: read as Windows-1252; UTF-8 is safer." in batch.notes
    assert '"frontal"' in batch.problems[0].mend


def test_quotes_and_line_breaks_inside_values_as_in_rfc_4180(csv_path, read):
    # RFC 4180, section 2: 6 (line breaks and separating marks in quotes), 7 (quotes doubled)
    path = csv_path / "patients.csv"
    rows = path.read_text().splitlines()
    rows[1] = rows[1].replace("N-0001", '"N-0001"').replace("seizure", '"sei""zure,\r\n x"')
    path.write_text("\n".join(rows))
    batch = read(csv_path)
    assert batch.problems[0].found == '"sei"zure, x"'
    # the spreadsheet counts a row with a line break inside as one
    assert batch.places["patients"][-1].row == 4


def test_decimal_commas_with_semicolons(csv_path, tables, read):
    for path in csv_path.iterdir():
        frame = pd.read_csv(path)
        frame.to_csv(path, sep=";", decimal=",", index=False)
    batch = read(csv_path)
    everything_went_in(batch, tables)
    assert {p.rule for p in batch.problems} == {"decimal-comma"}


def test_a_decimal_comma_in_a_file_with_commas_shifts_no_cell_in_silence(csv_path, read):
    path = csv_path / "patients.csv"
    path.write_text(path.read_text().replace("30.5", "30,5"))
    batch = read(csv_path)
    problem = next(p for p in batch.problems if p.rule == "row-too-long")
    assert "one a heading" in problem.wanted and batch.patients_held == ["N-0001"]


def test_missing_values_as_r_writes_them_are_blanks(csv_path, tables, read):
    for path in csv_path.iterdir():
        pd.read_csv(path).to_csv(path, index=False, na_rep="NA")
    everything_went_in(read(csv_path), tables)


def test_booleans_as_r_and_pandas_write_them(csv_path, tables, read):
    path = csv_path / "lesions.csv"
    path.write_text(path.read_text().replace("True", "TRUE").replace("False", "FALSE"))
    everything_went_in(read(csv_path), tables)


def test_labels_as_headings_and_files_named_by_them(csv_path, tables, read):
    for path in list(csv_path.iterdir()):
        spec = TABLES[path.stem]
        frame = pd.read_csv(path, dtype=str).rename(
            columns={f.name: f.heading for f in spec.fields})
        path.unlink()
        frame.to_csv(csv_path / f"{spec.label.upper()}.CSV", index=False)
    everything_went_in(read(csv_path), tables)


def test_columns_and_tables_that_may_be_absent(csv_path, tables, read):
    (csv_path / "services.csv").unlink()
    (csv_path / "injections.csv").write_text("")
    (csv_path / "follow_ups.csv").write_text("patient_id,lesion_no\n")
    path = csv_path / "lesions.csv"
    pd.read_csv(path).dropna(axis=1, how="all").to_csv(path, index=False)
    batch = read(csv_path)
    assert {"services", "injections", "follow_ups"} <= set(batch.absent_tables)
    assert "draining_veins" in batch.absent_columns["lesions"]
    assert not batch.held and len(batch.tables["lesions"]) == 3


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda f: (f / "sessions.csv").unlink(), "sessions.csv is missing or empty"),
        (lambda f: (f / "sessions.csv").write_text(""), "sessions.csv is missing or empty"),
        (lambda f: [p.unlink() for p in f.iterdir()], "holds no CSV file"),
        (lambda f: (f / "patients.csv").write_bytes(bytes(range(256)) * 20), "not a text file"),
        (lambda f: (f / "sessions.csv").write_text('patient_id,lesion_no\n"N-0001,1\n'),
         "quotation mark"),
        (lambda f: (f / "Patients.CSV").write_text("patient_id\nN-0001\n"), "Two files hold"),
        (lambda f: (f / "complicatons.csv").write_text("a,b\n1,2\n"), "looks like"),
        (lambda f: (f / "injections.csv").write_text("patient_id,lesion_no\nN-0001,1\n"),
         '"Agent" (agent) is missing'),
    ],
)
def test_a_fault_of_a_file_is_one_clear_sentence(csv_path, read, spoil, words):
    spoil(csv_path)
    with pytest.raises(SourceError) as caught:
        read(csv_path)
    assert words in str(caught.value)


def test_one_file_of_the_folder_is_not_a_source(csv_path, read):
    with pytest.raises(SourceError, match="give the folder"):
        read(csv_path / "patients.csv")


def test_the_same_place_is_the_same_source_and_a_copy_is_another(csv_path, read):
    import shutil

    copy = csv_path.with_name("copy")
    shutil.copytree(csv_path, copy)
    first, again, other = read(csv_path), read(csv_path), read(copy)
    assert first.source_id == again.source_id != other.source_id
    assert first.source_sha256 == other.source_sha256
    assert str(csv_path.parent) not in first.source_id + first.source_name
