"""A backup while the service writes, and the way back: what it holds, and what is refused."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from collector.errors import StoreError
from collector.store import Arrival, Commit, NewMessage, Store, StoreReader, back_up, restore
from rules import Priority
from tests.store.commits import SERIES, START_US, of, query, row

NEWEST = "SELECT max(observed_us) - ? FROM readings"


@pytest.fixture
def backup(tmp_path: Path) -> Path:
    return tmp_path / "backup.sqlite"


def fill(store: Store) -> None:
    for number in range(20):
        store.commit(of(*(row(0, number * 1000 + at, 25 + at / 1000) for at in range(1000))))


def test_backup_is_of_one_instant_although_commits_go_on(store: Store, path: Path, backup: Path) -> None:
    """Each piece of the copy meets a new commit; SQLite would begin anew each time, were it let."""
    fill(store)
    told: list[tuple[int, int]] = []

    def commit_meanwhile(done: int, total: int) -> None:
        told.append((done, total))
        store.commit(of(row(1, len(told), 8.0)))

    back_up(path, backup, commit_meanwhile)
    total = told[-1][1]
    assert total > 200
    assert [done for done, _ in told] == [*range(256, total, 256), total]
    assert query(backup, "SELECT series, count(*) FROM readings GROUP BY series") == [(1, 20_000)]
    assert query(path, "SELECT count(*) FROM readings WHERE series = 2") == [(len(told),)]
    assert query(backup, "PRAGMA integrity_check") == [("ok",)]
    assert backup.stat().st_mode & 0o777 == 0o600
    assert sorted(one.name for one in backup.parent.iterdir()) == ["backup.sqlite", "store"]


def test_restored_store_is_the_backup_and_the_old_one_is_kept(store: Store, path: Path, backup: Path) -> None:
    message = NewMessage(None, "ring", "sam", "first", 1, 1, "Cold", "water", Priority.HIGH)
    arrival = Arrival(7, "reef/t", b"12345678", START_US)
    store.commit(Commit(START_US, START_US, rows=[row(0, 0, 25.0)], messages=[message], arrivals=[arrival]))
    back_up(path, backup)
    store.commit(of(row(0, 60, 26.0)))
    with pytest.raises(StoreError, match="in use by another Brinebell; stop that one first"):
        # The lock is one of processes: this one asks as another would.
        _in_another_process(lambda: restore(path, backup, START_US))
    store.close()
    kept = restore(path, backup, START_US)
    assert kept is not None
    assert query(kept, NEWEST, (START_US,)) == [(60_000_000,)]
    assert query(path, NEWEST, (START_US,)) == [(0,)]
    assert query(path, "SELECT state, withdrawn_us FROM outbox") == [("given_up", START_US)]
    assert query(path, "SELECT * FROM arrivals") == []
    with Store(path) as again:
        again.register(SERIES)
        assert again.commit(of(row(0, 60, 26.5))).inserted == 1
    # The backup itself is as it was.
    assert query(backup, "SELECT state FROM outbox") == [("waiting",)]


def test_restore_brings_a_damaged_store_and_its_log_out_of_the_way(
    store: Store, path: Path, backup: Path
) -> None:
    fill(store)
    back_up(path, backup)
    store.close()
    path.write_bytes(b"no database at all, but 4 kB of something" * 100)
    log = path.with_name(path.name + "-wal")
    log.write_bytes(b"x" * 5000)
    kept = restore(path, backup, START_US)
    assert kept is not None
    assert kept.read_bytes().startswith(b"no database")
    assert kept.with_name(kept.name + "-wal").stat().st_size == 5000
    assert query(path, "SELECT count(*) FROM readings") == [(20_000,)]


def test_restore_makes_a_store_where_there_is_none(
    store: Store, path: Path, backup: Path, tmp_path: Path
) -> None:
    fill(store)
    back_up(path, backup)
    elsewhere = tmp_path / "elsewhere" / "brinebell.sqlite"
    assert restore(elsewhere, backup, START_US) is None
    with StoreReader(elsewhere) as reader:
        assert len(reader.readings(1, 0, 2**62).values) == 20_000


def test_what_is_refused_leaves_everything_as_it_was(store: Store, path: Path, backup: Path) -> None:
    fill(store)
    with pytest.raises(StoreError, match=r"no store at .*nowhere.sqlite yet"):
        back_up(path.with_name("nowhere.sqlite"), backup)
    with pytest.raises(StoreError, match=r"cannot be written: .*No such file or directory"):
        back_up(path, backup.parent / "nowhere" / "backup.sqlite")
    back_up(path, backup)
    with pytest.raises(StoreError, match=r"backup.sqlite exists, and nothing is overwritten"):
        back_up(path, backup)
    store.close()
    before = path.read_bytes()
    _damage(backup)
    with pytest.raises(StoreError, match=r"backup.sqlite is damaged \("):
        restore(path, backup, START_US)
    backup.write_text("time,series,value\n" * 100)
    with pytest.raises(StoreError, match="is no backup of a store: file is not a database"):
        restore(path, backup, START_US)
    backup.write_bytes(b"")
    with pytest.raises(StoreError, match="is empty"):
        restore(path, backup, START_US)
    with closing(sqlite3.connect(backup)) as other:
        other.execute("CREATE TABLE notes(text)")
    with pytest.raises(StoreError, match="database of another program"):
        restore(path, backup, START_US)
    with pytest.raises(StoreError, match="is the store itself"):
        restore(path, path, START_US)
    with pytest.raises(StoreError, match="no backup at"):
        restore(path, backup.with_name("nothing"), START_US)
    assert path.read_bytes() == before
    assert [one.name for one in path.parent.iterdir() if "part" in one.name or "before" in one.name] == []


def test_a_damaged_store_gives_no_backup(store: Store, path: Path, backup: Path) -> None:
    fill(store)
    store.close()
    _damage(path)
    with pytest.raises(StoreError, match=r"the copy of .* is damaged, and .* may be \("):
        back_up(path, backup)
    assert not backup.exists()


def _damage(path: Path) -> None:
    """A page in the middle full of what a dying card gives."""
    with path.open("r+b") as file:
        file.seek(4096 * 100)
        file.write(b"\xff" * 4096)


def _in_another_process(call: object) -> None:
    """Run a call in a fork and raise here what it raised there as a StoreError."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            call()
        except StoreError as error:
            os.write(writing, str(error).encode())
        os._exit(0)
    os.close(writing)
    with os.fdopen(reading) as told:
        text = told.read()
    os.waitpid(child, 0)
    if text:
        raise StoreError(text)
