"""Migrations: fresh files, older files, newer files, foreign files, steps that fail."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from collector.errors import StoreError
from collector.store import Outbox, Store, StoreReader
from collector.store.schema import APPLICATION_ID, CURRENT_VERSION, MIGRATIONS, migrate
from tests.store.commits import SERIES, of, query, row

GROWN = (*MIGRATIONS, "CREATE TABLE later(id INTEGER PRIMARY KEY) STRICT;\nINSERT INTO later VALUES(7);\n")


def test_fresh_file_reaches_the_current_version(store: Store, path: Path) -> None:
    assert query(path, "PRAGMA user_version") == [(CURRENT_VERSION,)]
    assert query(path, "PRAGMA application_id") == [(APPLICATION_ID,)]
    assert query(path, "PRAGMA journal_mode") == [("wal",)]


def test_every_table_is_strict(store: Store, path: Path) -> None:
    tables = query(path, "SELECT name, strict FROM pragma_table_list WHERE name NOT LIKE 'sqlite_%'")
    assert len(tables) > 10
    assert [name for name, strict in tables if not strict] == []


@pytest.mark.parametrize("version", range(CURRENT_VERSION + 1))
def test_file_of_each_earlier_version_is_brought_up(path: Path, version: int) -> None:
    path.parent.mkdir()
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        migrate(connection, MIGRATIONS[:version])
    with Store(path) as store:
        store.register(SERIES)
        assert store.commit(of(row(0, 0, 25.0))).inserted == 1
    assert query(path, "PRAGMA user_version") == [(CURRENT_VERSION,)]


def test_next_step_keeps_what_is_stored(store: Store, path: Path) -> None:
    store.commit(of(row(0, 0, 25.0)))
    store.close()
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        assert migrate(connection, GROWN) == (CURRENT_VERSION, CURRENT_VERSION + 1)
        assert migrate(connection, GROWN) == (CURRENT_VERSION + 1, CURRENT_VERSION + 1)
    assert query(path, "SELECT id FROM later") == [(7,)]
    assert query(path, "SELECT value FROM readings") == [(25.0,)]


def test_failing_step_leaves_the_version_before_it(path: Path) -> None:
    path.parent.mkdir()
    broken = (*GROWN, "CREATE TABLE good(id INTEGER) STRICT;\nCREATE TABLE later(id INTEGER) STRICT;\n")
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        with pytest.raises(
            StoreError,
            match=f"could not be brought to store version {CURRENT_VERSION + 2}: table later already",
        ):
            migrate(connection, broken)
        assert not connection.in_transaction
    assert query(path, "PRAGMA user_version") == [(CURRENT_VERSION + 1,)]
    assert query(path, "SELECT count(*) FROM sqlite_schema WHERE name = 'good'") == [(0,)]


@pytest.mark.parametrize("opened", [Store, StoreReader, Outbox])
def test_newer_file_is_refused_and_left_alone(store: Store, path: Path, opened: type) -> None:
    store.close()
    with closing(sqlite3.connect(path)) as connection:
        connection.execute(f"PRAGMA user_version = {CURRENT_VERSION + 1}")
    with pytest.raises(StoreError, match=f"store version {CURRENT_VERSION + 1}.*install the newer Brinebell"):
        opened(path)
    assert query(path, "PRAGMA user_version") == [(CURRENT_VERSION + 1,)]


@pytest.mark.parametrize("opened", [Store, StoreReader, Outbox])
def test_database_of_another_program_is_refused(path: Path, opened: type) -> None:
    path.parent.mkdir()
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("CREATE TABLE notes(text)")
    with pytest.raises(StoreError, match="database of another program"):
        opened(path)


@pytest.mark.parametrize("opened", [Store, StoreReader, Outbox])
def test_file_that_is_no_database_is_refused(path: Path, opened: type) -> None:
    path.parent.mkdir()
    path.write_text("temperature,25.0\n" * 100)
    with pytest.raises(StoreError, match="file is not a database"):
        opened(path)


@pytest.mark.parametrize("opened", [StoreReader, Outbox])
def test_reader_says_how_a_missing_store_comes_about(path: Path, opened: type) -> None:
    with pytest.raises(StoreError, match="`brinebell run` makes it"):
        opened(path)


def test_reader_of_an_older_file_says_how_it_is_brought_up(path: Path) -> None:
    path.parent.mkdir()
    with closing(sqlite3.connect(path)) as connection:
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    with pytest.raises(StoreError, match="start `brinebell run` once"):
        StoreReader(path)
