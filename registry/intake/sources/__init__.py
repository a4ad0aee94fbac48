"""Old spreadsheets as they lie: .xlsx, .xls, .ods and text files, read sheet by sheet."""

from __future__ import annotations

from registry.intake.sources.open_old import OldSource, open_old

__all__ = ["OldSource", "open_old"]
