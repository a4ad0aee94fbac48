"""The plan a service begins with: written once, read back, followed."""

import datetime
from pathlib import Path

import pytest
from typer.testing import CliRunner

from analyses.commands.app import app
from analyses.models.model_plan import read_plan
from analyses.models.plan_draft import PlanFileError, write_draft_plan
from analyses.models.technique_declared import all_terms
from analyses.models.technique_outcomes import OUTCOMES
from analyses.models.technique_plan import default_plan

DAY = datetime.date(2026, 1, 5)


def test_the_draft_is_the_default_plan_and_can_be_read(tmp_path: Path) -> None:
    plan = read_plan(write_draft_plan(tmp_path / "plan.toml", DAY))
    assert plan.models == default_plan(DAY).models and plan.date == DAY


def test_its_head_names_everything_that_may_be_asked(tmp_path: Path) -> None:
    text = write_draft_plan(tmp_path / "plan.toml", DAY).read_text(encoding="utf-8")
    head = text.partition("title =")[0]
    assert all(line.startswith("#") for line in head.splitlines() if line)
    for word in (*all_terms(), *(one.column for one in OUTCOMES),
                 "imputation", "subgroups", "spline", "exploratory"):
        assert word in head


def test_a_plan_that_is_there_is_not_replaced(tmp_path: Path) -> None:
    path = write_draft_plan(tmp_path / "plan.toml", DAY)
    before = path.read_bytes()
    with pytest.raises(PlanFileError, match="is not replaced"):
        write_draft_plan(path, datetime.date(2026, 2, 1))
    assert path.read_bytes() == before
    with pytest.raises(PlanFileError, match="does not exist"):
        write_draft_plan(tmp_path / "nowhere" / "plan.toml", DAY)
    assert [p.name for p in tmp_path.iterdir()] == ["plan.toml"]


def test_the_command_says_what_to_do_next(tmp_path: Path) -> None:
    out = tmp_path / "plan.toml"
    done = CliRunner().invoke(app, ["plan", str(out)])
    assert done.exit_code == 0 and "--plan" in done.output
    assert read_plan(out).date <= datetime.date.today()
    again = CliRunner().invoke(app, ["plan", str(out)])
    assert again.exit_code == 2 and "is not replaced" in again.output
