"""An executed copy of one of the notebooks, started from a freeze (or sheet) of one's own."""

from __future__ import annotations

import ast
import os
import tempfile
from collections.abc import Callable, Mapping
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analyses.commands.demo import DEMO_FOLDER
from analyses.commands.who_may_see import who_may_see
from registry.problems.sentence_error import SentenceError

if TYPE_CHECKING:
    from nbclient import NotebookClient

TAG = "the-cell-to-change"
"""The tag of the one cell that holds paths and names, and nothing else."""
FREEZE, SHEET = "FREEZE", "SHEET"
"""What a notebook starts from, as that cell names it."""
CHOICES = {"CASE": "--case", "PLAN": "--plan", "PROJECT": "--project", "SERIES": "--published",
           "MAPPING": "--mapping"}
"""What else that cell may name, and the option of the command that fills it."""


class NotebookError(SentenceError):
    """No executed copy could be made; the message is a sentence, and nothing was written."""


def notebooks_folder() -> Path:
    """Where the notebooks lie: inside an installed `analyses`, or beside it in the repository."""
    package = Path(str(files("analyses")))
    installed = package / "notebooks"
    return installed if installed.is_dir() else package.parent / "notebooks"


def notebook_names() -> list[str]:
    """The names of the notebooks, in the order of the alphabet."""
    return sorted(path.stem for path in notebooks_folder().glob("*.ipynb"))


def executed_copy(
    name: str, start: Path, out: Path, *, choices: Mapping[str, str],
    progress: Callable[..., None],
) -> list[str]:
    """Run the notebook `name` on `start` and write the copy into `out`; the lines to print.

    choices: values by their name in the cell to change (`CHOICES`). Raises NotebookError for an
    unknown name, a choice that the notebook does not have, or a cell that stops; FreezeError
    where `start` should be a freeze and is none. A file that is there and differs stays.
    """
    from registry import read_freeze

    book = _read(name)
    cell = _cell_to_change(book)
    names = constants(cell.source)
    if out.exists() and not out.is_dir():
        raise NotebookError(f"{out} is a file; the copy needs a folder. Give another --out.")
    if FREEZE in names:
        read_freeze(start)
    cell.source = filled(name, names, start, choices)
    _say_who_may_see(book)
    _execute(book, name, progress)
    return _written(book, name, out)


def _read(name: str) -> Any:
    import nbformat

    if name not in notebook_names():
        raise NotebookError(
            f"There is no notebook called {name}; choose {', '.join(notebook_names())}.")
    return nbformat.read(notebooks_folder() / f"{name}.ipynb", as_version=4)


def _cell_to_change(book: Any) -> Any:
    return next(cell for cell in book.cells if TAG in cell.metadata.get("tags", []))


def constants(source: str) -> dict[str, str]:
    """Name → text of a cell that holds only `NAME = "text"` lines."""
    found = {}
    for statement in ast.parse(source).body:
        match statement:
            case ast.Assign([ast.Name(name)], ast.Constant(str(text))):
                found[name] = text
    return found


def filled(name: str, names: Mapping[str, str], start: Path, choices: Mapping[str, str]) -> str:
    """The cell with one's own paths: nothing of the demo's stays in it."""
    unknown = [CHOICES[choice] for choice in choices if choice not in names]
    if unknown:
        raise NotebookError(f"The notebook {name} has no use for {', '.join(unknown)}.")
    own = {key: "" if value.startswith(f"{DEMO_FOLDER}/") else value
           for key, value in names.items()}
    first = FREEZE if FREEZE in names else SHEET
    values = {**own, first: str(start.absolute()), **choices}
    return "\n".join(f"{key} = {value!r}" for key, value in values.items())


def _say_who_may_see(book: Any) -> None:
    from nbformat.v4 import new_markdown_cell

    book.cells.insert(0, new_markdown_cell(
        "\n".join(who_may_see("notebook")), id="who-may-see"))


def _execute(book: Any, name: str, progress: Callable[..., None]) -> None:
    """Run it in a folder that is thrown away: nothing is left beside it."""
    from nbclient import NotebookClient
    from nbclient.exceptions import CellExecutionError

    total = len(book.cells)
    with tempfile.TemporaryDirectory() as folder:
        client = NotebookClient(
            book, timeout=None, kernel_name="python3", record_timing=False,
            resources={"metadata": {"path": folder}},
            on_cell_start=lambda cell, cell_index: progress(f"running {name}", cell_index, total))
        _keep_off_the_network(client, Path(folder))
        try:
            client.execute()
        except CellExecutionError as fault:
            raise NotebookError(
                f"The notebook {name} stopped: {fault.evalue}\nNothing was written.") from None


def _keep_off_the_network(client: NotebookClient, folder: Path) -> None:
    """Patients' data pass between us and the kernel: through a folder of ours where that is known.

    Windows has no such sockets; there the kernel listens on this machine's own address.
    """
    kernel = client.create_kernel_manager()
    if os.name == "posix":
        kernel.transport, kernel.ip = "ipc", str(folder / "kernel")


def _written(book: Any, name: str, out: Path) -> list[str]:
    import nbformat

    content = (nbformat.writes(book) + "\n").encode("utf-8")
    try:
        out.mkdir(parents=True, exist_ok=True)
        path = free_name(out / f"{name}.ipynb", content)
        path.write_bytes(content)
    except OSError as fault:
        raise NotebookError(f"{out} cannot be written: {fault.strerror}.") from fault
    kept = [] if path.stem == name else [
        f"{out / f'{name}.ipynb'} is there and differs; it stays as it is."]
    return [*kept, f"Executed copy: {path}"]


def free_name(path: Path, content: bytes) -> Path:
    """`path`, or a numbered name beside it where a file of other content has that name."""
    number, free = 1, path
    while free.exists() and not (free.is_file() and free.read_bytes() == content):
        number += 1
        free = path.with_name(f"{path.stem}-{number}{path.suffix}")
    return free
