"""Functions, classes and methods that nothing of ours reaches but tests.

A name is live where it can be reached from what a user can start: the public faces, the verbs of
the command line, the cells of the notebooks, and whatever a module does when it is loaded. All is
read from the sources; nothing is run. A method is live where its name is asked for anywhere that
is live.

    python -m tests.dead_ends
"""

from __future__ import annotations

import ast
import json
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

ROOT = Path(__file__).parents[1]
PACKAGES = ("registry", "analyses", "synthetic_cohort")
REGISTERING = {"callback", "register", "error", "query", "family"}
"""The last words of decorators that hand a function to a register, where it is found unnamed."""
DEFINING = (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)

Definition = ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef


@dataclass(frozen=True)
class Uses:
    """What a piece of code asks for: `names` with their home (dotted), and bare `attributes`."""

    names: frozenset[str]
    attributes: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Module:
    """One source: its dotted name and its statements."""

    name: str
    tree: ast.Module

    @cached_property
    def imports(self) -> dict[str, str]:
        """What is imported anywhere in it: the name here → the dotted name where it comes from."""
        found: dict[str, str] = {}
        for node in ast.walk(self.tree):
            if isinstance(node, ast.ImportFrom) and node.module:
                found |= {alias.asname or alias.name: f"{node.module}.{alias.name}"
                          for alias in node.names}
            elif isinstance(node, ast.Import):
                found |= {alias.asname: alias.name for alias in node.names if alias.asname}
        return found

    @cached_property
    def definitions(self) -> dict[str, Definition]:
        """The functions and classes at its top."""
        return {node.name: node for node in self.tree.body if isinstance(node, DEFINING)}

    def uses(self, *nodes: ast.AST) -> Uses:
        """What these pieces ask for. A parameter or variable of their own is no use."""
        parts = [part for node in nodes for part in ast.walk(node)]
        names = [part for part in parts if isinstance(part, ast.Name)]
        own = {part.arg for part in parts if isinstance(part, ast.arg)}
        own |= {part.id for part in names if not isinstance(part.ctx, ast.Load)}
        asked = [part for part in parts if isinstance(part, ast.Attribute)]
        return Uses(
            frozenset(map(self.home, ({part.id for part in names} - own) | {
                chain for part in asked if (chain := _chain(part))})),
            frozenset(part.attr for part in asked))

    def home(self, name: str) -> str:
        """Where a name that is used here comes from, dotted."""
        first, dot, rest = name.partition(".")
        return self.imports.get(first, f"{self.name}.{first}") + dot + rest

    def starts(self) -> Iterator[Uses]:
        """What is reached without being asked for: on loading, through registers, by the face."""
        yield self.uses(*(node for node in self.tree.body if not isinstance(
            node, (*DEFINING, ast.Import, ast.ImportFrom))))
        yield Uses(frozenset(
            f"{self.name}.{name}" for name, node in self.definitions.items()
            if _registered(node) or name.startswith("__")))
        yield Uses(frozenset(self.handed_on()))

    def handed_on(self) -> set[str]:
        """The names in `__all__`, dotted."""
        for node in self.tree.body:
            if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "__all__":
                return set(map(self.home, ast.literal_eval(node.value)))
        return set()


class House:
    """All sources below a folder: `registry`, `analyses`, `synthetic_cohort`, `notebooks`."""

    def __init__(self, root: Path = ROOT) -> None:
        self.modules = [*_packages(root), *_notebooks(root)]
        self.homes = {f"{module.name}.{name}": (module, node) for module in self.modules
                      for name, node in module.definitions.items()}
        self.handed = {here: home for module in self.modules
                       for name, home in module.imports.items()
                       if (here := f"{module.name}.{name}") != home}
        self.asked_by_pages = _asked_by_pages(root)
        self.commands = _commands(root)

    def dead_ends(self) -> list[str]:
        """The dotted names that only tests use, in order: functions, classes, public methods."""
        live, attributes = self._reached()
        dead = self.homes.keys() - live
        face = {self._definition(name) for module in self.modules for name in module.handed_on()}
        for name in live - face:
            dead |= {f"{name}.{method}" for method in _public_methods(self.homes[name][1])
                     if method not in attributes}
        return sorted(dead)

    def _reached(self) -> tuple[set[str], set[str]]:
        """The live definitions, and every attribute that they ask for."""
        waiting = [uses for module in self.modules for uses in module.starts()]
        waiting.append(Uses(self.commands, self.asked_by_pages))
        live: set[str] = set()
        attributes: set[str] = set()
        while waiting:
            uses = waiting.pop()
            attributes |= uses.attributes
            for home in set(map(self._definition, uses.names)) - live - {""}:
                live.add(home)
                module, node = self.homes[home]
                waiting.append(module.uses(node))
        return live, attributes

    def _definition(self, name: str) -> str:
        """The definition that a dotted name leads to, also through modules that hand it on."""
        while name and name not in self.homes:
            name = self.handed.get(name) or name.rpartition(".")[0]
        return name


def _packages(root: Path) -> Iterator[Module]:
    for package in PACKAGES:
        for path in sorted((root / package).rglob("*.py")):
            parts = path.relative_to(root).with_suffix("").parts
            yield Module(".".join(parts[:-1] if parts[-1] == "__init__" else parts),
                         ast.parse(path.read_text(encoding="utf-8")))


def _notebooks(root: Path) -> Iterator[Module]:
    for path in sorted((root / "notebooks").glob("*.ipynb")):
        cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
        code = "\n".join("".join(c["source"]) for c in cells if c["cell_type"] == "code")
        yield Module(f"notebooks.{path.stem}", ast.parse(code))


def _asked_by_pages(root: Path) -> frozenset[str]:
    """The attributes that page templates ask for."""
    return frozenset(word for package in PACKAGES
                     for path in sorted((root / package).rglob("*.html"))
                     for word in re.findall(r"\.(\w+)", path.read_text(encoding="utf-8")))


def _commands(root: Path) -> frozenset[str]:
    """What the installed commands start."""
    project = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return frozenset(start.replace(":", ".") for start in project.get("scripts", {}).values())


def _chain(node: ast.Attribute) -> str:
    """`a.b.c` where it is made of names alone, else nothing."""
    parts = [node.attr]
    inner = node.value
    while isinstance(inner, ast.Attribute):
        parts.append(inner.attr)
        inner = inner.value
    return ".".join([inner.id, *reversed(parts)]) if isinstance(inner, ast.Name) else ""


def _registered(node: Definition) -> bool:
    named = [one.func if isinstance(one, ast.Call) else one for one in node.decorator_list]
    return any((getattr(one, "attr", "") or getattr(one, "id", "")) in REGISTERING
               for one in named)


def _public_methods(node: Definition) -> set[str]:
    """Of a public class; what a private one answers to is its library's business."""
    if not isinstance(node, ast.ClassDef) or node.name.startswith("_"):
        return set()
    return {part.name for part in node.body if isinstance(part, DEFINING)
            and not part.name.startswith("_") and not _registered(part)}


if __name__ == "__main__":
    print("\n".join(House().dead_ends()))
