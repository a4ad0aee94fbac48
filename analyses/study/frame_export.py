"""A frame of a study as a file for another program."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from analyses.study.study_errors import StudyError
from analyses.study.study_frames import StudyFrame

ENDINGS = (".csv", ".parquet")


def refuse_hiding(small_cells: str) -> None:
    """Raises StudyError where a frame is to be written with small cells hidden.

    A row of a frame is one patient's, session's or injection's: there is no hiding it that leaves
    anything of the frame.
    """
    if small_cells != "show":
        raise StudyError(
            "A frame has a row for each unit, with its study code: no hiding of small cells makes "
            "it fit to leave the service, and nothing was written. Numbers without small cells "
            'come from study.report(OUT, small_cells="hide").')


def export_frame(frame: StudyFrame, path: Path, *, replace: bool) -> Path:
    """Write a frame with its keys: .csv (yes and no in words, days as ISO 8601) or .parquet.

    Raises StudyError for another ending, a file that is there already and is not to be replaced,
    or a place that cannot be written; then nothing was written.
    """
    if path.suffix.lower() not in ENDINGS:
        raise StudyError(
            f"A frame cannot be written as {path.suffix or 'a file without an ending'}; give "
            "FILE.csv or FILE.parquet (files with value labels, .dta and .sav, are not written "
            "yet).")
    if path.exists() and not replace:
        raise StudyError(f"{path} is there already; give another name, or replace=True.")
    beside = path.with_name(f".{path.name}.part")
    try:
        if path.suffix.lower() == ".csv":
            _words(frame.frame).to_csv(beside, encoding="utf-8")
        else:
            _plain(frame.frame).to_parquet(beside)
        beside.replace(path)
    except OSError as fault:
        raise StudyError(f"{path} cannot be written: {fault.strerror}.") from fault
    finally:
        beside.unlink(missing_ok=True)
    return path


def _words(frame: pd.DataFrame) -> pd.DataFrame:
    found = frame.copy()
    for name in found.columns:
        if pd.api.types.is_bool_dtype(found[name].dtype):
            found[name] = found[name].map({True: "yes", False: "no"}, na_action="ignore")
        elif pd.api.types.is_datetime64_any_dtype(found[name].dtype):
            found[name] = found[name].dt.strftime("%Y-%m-%d")
    return found


def _plain(frame: pd.DataFrame) -> pd.DataFrame:
    """Grades of numbers as whole numbers: a Parquet dictionary of numbers is not read widely."""
    found = frame.copy()
    for name in found.columns:
        dtype = found[name].dtype
        if isinstance(dtype, pd.CategoricalDtype) and pd.api.types.is_integer_dtype(
                dtype.categories.dtype):
            found[name] = found[name].astype("Int64")
    return found
