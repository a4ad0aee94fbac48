"""Reading a freeze, and refusing one that is not as it was written."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from registry.freeze.files import file_sha256, read_table
from registry.freeze.freeze_error import FreezeError
from registry.freeze.older_freeze import read_older
from registry.freeze.table_schema import table_path
from registry.freeze.worked_out import worked_out_tables
from registry.schema import TABLES
from registry.schema.canonical import canonical_json, sha256
from registry.schema.migrations.numbered import schema_version

FORMAT, MANIFEST = "nidusbook freeze", "manifest.json"
# Files that a desktop leaves in any folder it shows; they are no part of the data.
CLUTTER = {".DS_Store", "Thumbs.db", "desktop.ini"}


@dataclass(frozen=True)
class Freeze:
    """A freeze as read: typed tables by name, the manifest, and the folder.

    Beside the registry's tables there are `grades`, `case_numbers` and `entries`
    (`registry.freeze.worked_out`). `opening` are sentences on how a freeze of an older version
    was read; its manifest and files stay as they were written.
    """

    tables: dict[str, pd.DataFrame]
    manifest: dict[str, Any]
    path: Path
    opening: tuple[str, ...] = ()

    def _repr_html_(self) -> str:
        from registry.freeze.freeze_shown import html

        return html(self.tables, self.manifest, self.opening)

    def __str__(self) -> str:
        from registry.freeze.freeze_shown import text

        return text(self.tables, self.manifest, self.opening)


def read_freeze(path: str | Path) -> Freeze:
    """Read a freeze, after checking every file of it against its SHA-256.

    One of an older version is read as this version would have written it. Raises FreezeError,
    one sentence that names the file, where one was changed, is missing or does not belong to it;
    or where the folder is no freeze, or of a newer version.
    """
    folder = Path(path)
    manifest = checked_manifest(folder)
    version, now = manifest["schema_version"], schema_version()
    if version > now:
        raise FreezeError(
            f"The freeze {folder} was written by a newer nidusbook (schema {version}, this "
            f"program knows {now}); install it."
        )
    specs = {**TABLES, **worked_out_tables()}
    files = {name: folder / table_path(name) for name in specs
             if table_path(name) in manifest["files"]}
    if version < now:
        tables, opening = read_older(folder, files, specs, version)
        return Freeze(tables, manifest, folder, opening)
    tables = {name: read_table(files[name], spec) if name in files else spec.empty()
              for name, spec in specs.items()}
    return Freeze(tables, manifest, folder)


def checked_manifest(folder: Path) -> dict[str, Any]:
    """The manifest of an unchanged freeze; raises FreezeError as `read_freeze` does."""
    manifest = _manifest(folder)
    files: Mapping[str, Any] = manifest["files"]
    for name, facts in files.items():
        file = folder / name
        if not file.is_file():
            raise FreezeError(f"The freeze {folder} lacks its file {name}; {_AGAIN}")
        if file_sha256(file) != facts["sha256"]:
            raise FreezeError(
                f"The file {name} of the freeze {folder} was changed after it was written; "
                f"{_AGAIN}"
            )
    for file in sorted(folder.rglob("*")):
        name = file.relative_to(folder).as_posix()
        known = name in files or name == MANIFEST or file.name in CLUTTER
        if not known and not (file.is_dir() and any(one.startswith(f"{name}/") for one in files)):
            raise FreezeError(
                f"{name} does not belong to the freeze {folder}; move it elsewhere."
            )
    return manifest


_AGAIN = "make the freeze again from the registry."


def _manifest(folder: Path) -> dict[str, Any]:
    if not folder.is_dir():
        what = "is a file, not a folder" if folder.exists() else "does not exist"
        raise FreezeError(f"{folder} {what}; give the folder of a freeze.")
    try:
        manifest = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise FreezeError(
            f"{folder} is not a freeze (it has no {MANIFEST}); give the folder of a freeze."
        ) from None
    except (OSError, ValueError):
        manifest = None
    if not isinstance(manifest, dict) or manifest.get("format") != FORMAT:
        raise FreezeError(f"The file {MANIFEST} of {folder} is not that of a freeze; {_AGAIN}")
    if manifest.get("manifest_hash") != manifest_hash(manifest):
        raise FreezeError(
            f"The file {MANIFEST} of the freeze {folder} was changed after it was written; "
            f"{_AGAIN}"
        )
    return manifest


def manifest_hash(manifest: Mapping[str, Any]) -> str:
    """SHA-256 of a manifest without its own hash."""
    return sha256(canonical_json({k: v for k, v in manifest.items() if k != "manifest_hash"}))
