"""How a verb speaks: lines on the screen, a progress line, sentences for faults, the exit code."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import wraps
from typing import TYPE_CHECKING, NoReturn, ParamSpec

import typer

from analyses.commands.who_may_see import who_may_see
from registry.problems.sentence_error import SentenceError

if TYPE_CHECKING:
    from rich.console import Console

DONE, DATA_ERRORS, WRONG_CALL = 0, 1, 2

Arguments = ParamSpec("Arguments")


class CallError(SentenceError):
    """The command was called wrongly; the message is a sentence that says what it needs."""


@dataclass(frozen=True)
class Told:
    """What a verb has to say when it is done.

    made: what it made, a name in `who_may_see.OUTPUTS`, so that no verb can keep silent about
    which of it may leave the service; lines: to print; exit_code: DONE or DATA_ERRORS.
    """

    made: str
    lines: Sequence[str] = ()
    exit_code: int = DONE


def spoken(verb: Callable[Arguments, Told]) -> Callable[Arguments, NoReturn]:
    """The verb as the command line runs it: its lines and who may see what it made are printed.

    Faults of the call or the file end in their sentences and exit code 2, never in a traceback.
    """
    @wraps(verb)
    def run(*args: Arguments.args, **kwargs: Arguments.kwargs) -> NoReturn:
        try:
            told = verb(*args, **kwargs)
        except SentenceError as fault:
            typer.echo(str(fault), err=True)
            raise typer.Exit(WRONG_CALL) from None
        for line in (*told.lines, *who_may_see(told.made)):
            typer.echo(line)
        raise typer.Exit(told.exit_code)

    return run


@contextmanager
def progress() -> Iterator[Callable[..., None]]:
    """A line that says what is being worked on; nothing where the output is not a terminal."""
    terminal = console(stderr=True)
    if not terminal.is_terminal:
        yield lambda words, done=0, total=0: None
        return
    with terminal.status("starting") as status:
        yield lambda words, done=0, total=0: status.update(progress_words(words, done, total))


def progress_words(words: str, done: int, total: int) -> str:
    """`reading the workbook: 3 of 10 …`, or the words alone where there is nothing to count."""
    return f"{words}: {done:,} of {total:,} …" if total else f"{words} …"


def console(*, stderr: bool = False) -> Console:
    """A terminal to print tables on; lines longer than the screen are not cut."""
    from rich.console import Console

    return Console(stderr=stderr, highlight=False, soft_wrap=True)
