"""A TOML file that a person wrote: read, or refused in a sentence."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from registry.problems.sentence_error import SentenceError


class FileProblem(SentenceError, ValueError):
    """The file cannot be used; the message names every place and its remedy."""


def toml_content(place: Path, problem: type[FileProblem], written: str) -> dict[str, Any]:
    """The content of a TOML file in UTF-8.

    problem: what is raised where it cannot be read; written: how values are written in it, for
    whoever has to mend it.
    """
    try:
        return tomllib.loads(place.read_text(encoding="utf-8-sig"))
    except OSError as trouble:
        raise problem(f"{place.name}: cannot be opened ({trouble.strerror})") from None
    except UnicodeDecodeError:
        raise problem(f"{place.name}: is not UTF-8 text; save it as UTF-8") from None
    except tomllib.TOMLDecodeError as trouble:
        raise problem(f"{place.name}: is not TOML: {trouble}. {written}") from None
