"""LibreOffice opens a file and makes pages of it; a missing program is a failure."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path


def pdf_of(path: Path, folder: Path) -> Path:
    """The file as PDF, made by LibreOffice with a profile of its own in `folder`."""
    program = shutil.which("soffice") or shutil.which("libreoffice")
    assert program, "LibreOffice is not installed; this check needs it"
    subprocess.run(
        [program, "--headless", f"-env:UserInstallation=file://{folder}/profile",
         "--convert-to", "pdf", "--outdir", str(folder), str(path)],
        check=True, capture_output=True, timeout=240)
    return folder / f"{path.stem}.pdf"


def pages(pdf: Path) -> int:
    """How many pages a PDF has, by poppler."""
    told = subprocess.run(["pdfinfo", str(pdf)], check=True, capture_output=True, text=True)
    return int(re.search(r"Pages:\s+(\d+)", told.stdout).group(1))


def text_of(pdf: Path) -> str:
    """The text of a PDF, by poppler."""
    return subprocess.run(["pdftotext", "-layout", str(pdf), "-"], check=True,
                          capture_output=True, text=True).stdout
