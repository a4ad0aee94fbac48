"""A registry of an older version on PostgreSQL is brought up as one on SQLite is."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest
from postgresql_server import postgresql_server
from version_one import (
    KNOWN,
    THIRD,
    registry_of_version_1,
    statements_of_version_1,
    third_version,
)

from registry.schema.migrations.change_steps import NewColumn, SplitField
from registry.store.registry import open_registry
from registry.store.store_error import RegistryError

pytestmark = pytest.mark.server


@pytest.fixture(scope="module")
def server():
    with postgresql_server() as url:
        yield url


@pytest.fixture
def place(server, request):
    """The URL of a database that holds the registry of version 1."""
    import psycopg

    name = f"m{abs(hash(request.node.name))}"
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f"DROP DATABASE IF EXISTS {name}")
        connection.execute(f"CREATE DATABASE {name}")
    url = server.replace("/postgres?", f"/{name}?")
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(statements_of_version_1())
    return url


def content(place) -> dict:
    """Every table of the database, columns and rows, as text."""
    import psycopg

    with psycopg.connect(place) as connection:
        names = [n for (n,) in connection.execute(
            "SELECT tablename FROM pg_tables WHERE schemaname = 'public' ORDER BY 1")]
        found = {}
        for name in names:
            rows = connection.execute(f"SELECT * FROM {name}")
            found[name] = ([c.name for c in rows.description], sorted(map(str, rows)))
        return found


def test_the_first_migration_keeps_every_row_and_says_so(place, tmp_path):
    registry = open_registry(place)
    assert registry.opening[0].endswith("was of version 1 and is now of version 2.")
    assert registry.opening[-1].endswith("a database on a server is not copied.")
    assert registry.verify_audit() == []
    other = open_registry(registry_of_version_1(tmp_path / "registry.sqlite"))
    for name, frame in other.tables().items():
        pd.testing.assert_frame_equal(registry.tables()[name], frame)
    assert sorted(registry.held()["patient_id"].unique()) == KNOWN["held"]
    assert open_registry(place).opening == ()


def test_every_kind_of_step_does_what_it_does_on_sqlite(place, tmp_path):
    with third_version():
        registry = open_registry(place)
        other = open_registry(registry_of_version_1(tmp_path / "registry.sqlite"))
        for name, frame in other.tables().items():
            pd.testing.assert_frame_equal(registry.tables()[name], frame)
        assert registry.held()["values"].tolist() == other.held()["values"].tolist()
        assert registry.verify_audit() == []
        assert registry.opening[1:-1] == other.opening[1:-1]
        assert open_registry(place).opening == ()


def refuse(value):
    raise ValueError("no")


@pytest.mark.parametrize("by", [refuse, lambda value: (value, "no number")])
def test_what_fails_halfway_leaves_everything_as_it_was(place, by):
    before = content(place)
    split = SplitField("resections", "result", "choice",
                       (NewColumn("a", "text"), NewColumn("b", "int")), by)
    migration = replace(THIRD, steps=(*THIRD.steps, split))
    with third_version(migration), pytest.raises(RegistryError, match="nothing was changed"):
        open_registry(place)
    assert content(place) == before


def test_one_of_a_newer_version_is_refused_and_not_touched(place):
    with third_version():
        open_registry(place)
    before = content(place)
    with pytest.raises(RegistryError, match="newer nidusbook"):
        open_registry(place)
    assert content(place) == before
