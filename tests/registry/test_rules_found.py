"""A rule cannot be forgotten: whatever stands in a module of the rules' room is run."""

from __future__ import annotations

import ast
import shutil
import subprocess
import sys
from pathlib import Path

import registry
from registry.rules import all_rules

ROOM = Path(registry.__file__).parent / "rules"
ONE_MORE = '''"""A rule of its own module."""

from registry.rules.finding import Hits, query


@query("one more rule")
def one_more(tables):
    """Every patient."""
    return Hits("patients", tables["patients"], None, "a patient", "none", "none")
'''


def named_in_the_source() -> set[str]:
    """The first argument of every call that makes a rule, wherever it stands."""
    calls = [node for path in ROOM.glob("*.py") for node in ast.walk(ast.parse(path.read_text()))
             if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
             and node.func.id in {"Rule", "error", "query"} and node.args]
    return {call.args[0].value for call in calls if isinstance(call.args[0], ast.Constant)}


def test_every_rule_that_is_written_is_run() -> None:
    named = named_in_the_source()
    assert len(named) > 35
    assert named == {rule.name for rule in all_rules()}


def test_errors_are_looked_for_first_and_no_rule_twice() -> None:
    rules = all_rules()
    severities = [rule.severity for rule in rules]
    assert severities == sorted(severities)
    assert len({id(rule.look) for rule in rules}) == len(rules)


def test_a_new_module_needs_no_word_anywhere_else(tmp_path: Path) -> None:
    shutil.copytree(ROOM.parent, tmp_path / "registry",
                    ignore=shutil.ignore_patterns("__pycache__"))
    (tmp_path / "registry" / "rules" / "one_more.py").write_text(ONE_MORE, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-c",
         "from registry.rules import all_rules; print([r.name for r in all_rules()])"],
        cwd=tmp_path, capture_output=True, text=True, check=True)
    assert "one more rule" in done.stdout
