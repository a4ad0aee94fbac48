"""Writing a freeze: beside its place first, then moved there whole, and read-only."""

from __future__ import annotations

import datetime as dt
import json
import os
import platform
import shutil
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

from registry.freeze.files import file_sha256, write_table
from registry.freeze.freeze_content import Content, content_of, schema_hash
from registry.freeze.freeze_error import FreezeError
from registry.freeze.freeze_reading import FORMAT, MANIFEST, checked_manifest, manifest_hash
from registry.freeze.table_schema import data_package, table_path
from registry.freeze.who import PURPOSES
from registry.privacy.leaving import OLDEST
from registry.schema.migrations.numbered import schema_version

if TYPE_CHECKING:
    from registry.store.intake_result import Snapshot
    from registry.store.registry import Registry

SOFTWARE = ("nidusbook", "pandas", "pyarrow", "pandera", "SQLAlchemy")


def make_freeze(
    registry: Registry, out: str | Path, *, purpose: str = "research",
    date: dt.date | None = None, although_harm_waits: bool = False, replace: bool = False,
) -> Path:
    """Freeze a registry into the folder `out`, and return it.

    `purpose` is "research" (only patients whose research use is granted or waived) or
    "quality" (all). `date` is today unless given. `out` may be new, empty, or a freeze of the same
    content; one of other content, which reports may rest on, is refused unless `replace`. For
    research it is refused while a patient with a death or complication is held back by errors,
    unless `although_harm_waits`. Raises FreezeError, one sentence, with nothing written.
    """
    if not registry.exists:
        raise FreezeError(f"There is no registry at {registry.place} yet; take a source in first.")
    return write_freeze(registry.snapshot(), out, purpose=purpose, date=date,
                        although_harm_waits=although_harm_waits, replace=replace)


def write_freeze(
    snapshot: Snapshot, out: str | Path, *, purpose: str = "research",
    date: dt.date | None = None, although_harm_waits: bool = False, replace: bool = False,
) -> Path:
    """Freeze what a registry held at one moment; see `make_freeze`."""
    out = Path(out).expanduser().absolute()
    older = _older_freeze(out)
    content = content_of(snapshot, purpose, although_harm_waits=although_harm_waits)
    if older is not None and not replace and older["freeze_hash"] != content.freeze_hash:
        raise FreezeError(
            f"{out} holds the freeze of {older['date']} for {older['purpose']} (hash "
            f"{older['freeze_hash'][:12]}…), which reports may rest on; nothing was written. Give "
            "another folder, or add --replace to put the new freeze in its place.")
    beside = out.with_name(f".{out.name}.part")
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        _clear(beside)
        _write(beside, content, snapshot, (date or dt.date.today()).isoformat())
        _move(beside, out)
    except OSError as fault:
        raise FreezeError(
            f"The freeze cannot be written to {out} ({fault.strerror}); give another folder."
        ) from fault
    finally:
        _clear(beside)
    return out


def _older_freeze(out: Path) -> dict[str, Any] | None:
    """The manifest of the freeze that is at the place, None where there is nothing.

    Raises FreezeError where it holds anything but an unchanged freeze of ours.
    """
    if not out.exists():
        return None
    if not out.is_dir():
        raise FreezeError(f"{out} is a file; give a folder for the freeze.")
    if not any(out.iterdir()):
        return None
    try:
        return checked_manifest(out)
    except FreezeError as fault:
        raise FreezeError(
            f"The folder {out} is not empty and not an unchanged freeze; nothing was written. "
            "Give a new or empty folder."
        ) from fault


def _write(folder: Path, content: Content, snapshot: Snapshot, date: str) -> None:
    (folder / "tables").mkdir(parents=True)
    files: dict[str, dict[str, Any]] = {}
    for name, frame in content.tables.items():
        path = table_path(name)
        write_table(frame, content.specs[name], folder / path)
        files[path] = {**_facts(folder / path), "rows": len(frame)}
    words = PURPOSES[content.purpose]
    _write_json(folder / "datapackage.json", data_package(content.specs, date, words))
    files["datapackage.json"] = _facts(folder / "datapackage.json")
    manifest = _manifest(content, snapshot, files, date)
    _write_json(folder / MANIFEST, {**manifest, "manifest_hash": manifest_hash(manifest)})
    for file in folder.rglob("*"):
        if file.is_file():
            file.chmod(0o444)


def _facts(path: Path) -> dict[str, Any]:
    return {"sha256": file_sha256(path), "bytes": path.stat().st_size}


def _write_json(path: Path, content: dict[str, Any]) -> None:
    text = json.dumps(content, ensure_ascii=False, indent=1) + "\n"
    path.write_text(text, encoding="utf-8", newline="\n")


def _manifest(
    content: Content, snapshot: Snapshot, files: dict[str, dict[str, Any]], date: str,
) -> dict[str, Any]:
    entries, head = snapshot.audit_head
    return {
        "format": FORMAT,
        "stays_inside": "This freeze holds study codes and stays inside the service.",
        "freeze_hash": content.freeze_hash,
        "purpose": content.purpose,
        "purpose_in_words": PURPOSES[content.purpose],
        "date": date,
        "patients": len(content.tables["patients"]),
        "left_out": content.left_out,
        "age_cap_y": OLDEST,
        "schema_version": schema_version(),
        "schema_hash": schema_hash(content.specs),
        "software": {"python": platform.python_version(), **{n: version(n) for n in SOFTWARE}},
        "audit_trail": {"entries": entries, "last_hash": head},
        "files": files,
    }


def _move(beside: Path, out: Path) -> None:
    """Put the finished folder in its place; an older freeze goes only when it is there."""
    older = out.with_name(f".{out.name}.older")
    _clear(older)
    if out.exists():
        os.replace(out, older)
    try:
        os.replace(beside, out)
    except OSError:
        if older.exists():
            os.replace(older, out)
        raise
    _clear(older)


def _clear(folder: Path) -> None:
    """Remove a folder of ours, read-only files and all."""
    if not folder.exists():
        return
    for file in folder.rglob("*"):
        file.chmod(0o755 if file.is_dir() else 0o644)
    shutil.rmtree(folder)
