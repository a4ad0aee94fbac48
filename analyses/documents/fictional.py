"""The mark that the demo leaves in its folder, so that nobody takes its numbers for real ones."""

from __future__ import annotations

from pathlib import Path

DEMO_MARK = "nothing-here-is-real.txt"


def mark_demo(folder: Path) -> None:
    """Write the mark into a folder of fictional data."""
    (folder / DEMO_MARK).write_text("A fictional service; made again by the next demo.\n")


def is_demo(path: Path) -> bool:
    """Whether a freeze or a sheet lies in a folder of the demo: then nothing in it is real."""
    return (path.absolute().parent / DEMO_MARK).is_file()
