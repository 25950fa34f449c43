"""Killed at any instant, or out of disk: what was reported is there, once, whole; nothing is half there.

kill -9 shows what the process may lose, not what a power cut may: that is SQLite's promise for
WAL with synchronous=FULL (https://www.sqlite.org/pragma.html#pragma_synchronous).
"""

from __future__ import annotations

import random
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

import pytest

from collector.errors import StoreError
from collector.store import CONFLICTS_KEPT as KEPT
from collector.store import Committed, Store
from tests.store.commits import SERIES, assert_rollups_match_readings, query
from tests.store.writing_child import batch_of, rows_of, rows_of_before

ROOT = Path(__file__).parents[2]
CHILD = [sys.executable, "-m", "tests.store.writing_child"]
KILLS = 25


def numbers_of(lines: list[str]) -> list[int]:
    return [int(line.split()[1]) for line in lines if line.startswith("done")]


def run_and_kill(path: Path, after_s: float) -> list[int]:
    """Let a child write, kill it so long after its first commit; return what it reported as done."""
    child = subprocess.Popen([*CHILD, str(path)], cwd=ROOT, stdout=subprocess.PIPE, text=True)
    with child:
        assert child.stdout is not None
        first = child.stdout.readline()
        time.sleep(after_s)
        child.kill()
        rest = child.stdout.read()
    assert child.returncode == -9
    # A line that the kill cut in the middle was not reported.
    return numbers_of([line for line in (first + rest).splitlines(keepends=True) if line.endswith("\n")])


def assert_whole(path: Path) -> int:
    """Check that commits 1..n are in the file in every table, whole and once; return n."""
    assert query(path, "PRAGMA integrity_check") == [("ok",)]
    assert query(path, "PRAGMA foreign_key_check") == []
    ((count, last),) = query(path, "SELECT count(*), max(no) FROM commits")
    assert count == last
    once = [(str(number),) for number in range(1, last + 1)]
    assert query(path, "SELECT title FROM outbox ORDER BY id") == once
    assert query(path, "SELECT title FROM incidents ORDER BY number") == once
    assert query(path, "SELECT cast(cast(value AS INTEGER) AS TEXT) FROM alarm_events ORDER BY id") == once
    assert query(path, "SELECT count FROM rejected") == [(last,)]
    assert query(path, "SELECT count(*) FROM boards") == [(last,)]
    assert query(path, "SELECT count(*) FROM tests") == [(last,)]
    assert query(path, "SELECT count(*) FROM readings WHERE flag_mark = 4") == [(last,)]
    expected = {}
    for number in range(1, last + 1):
        for series, observed_us, value, *_ in rows_of(number):
            expected.setdefault((series + 1, observed_us), (value, number))
    stored = query(path, "SELECT series, observed_us, value, commit_no FROM readings")
    assert {(series, at): (value, number) for series, at, value, number in stored} == expected
    conflicting = [(rows_of_before(number)[2] + 1.0,) for number in range(2, last + 1)]
    kept = conflicting[:KEPT] + conflicting[KEPT:][-KEPT:]
    assert query(path, "SELECT value FROM conflicts ORDER BY id") == kept
    counted = query(path, "SELECT ifnull(sum(count), 0) FROM conflicts_not_kept")
    assert counted == [(len(conflicting) - len(kept),)]
    assert_rollups_match_readings(path)
    return int(last)


def test_killed_at_random_instants_it_keeps_every_commit_that_it_reported(path: Path) -> None:
    chance = random.Random(11)
    reported: list[int] = []
    for _ in range(KILLS):
        reported += run_and_kill(path, chance.uniform(0, 0.03))
        assert reported == sorted(set(reported))  # none lost or repeated between two lives
        last = assert_whole(path)
        # The one commit that was durable but not yet reported may be there too.
        assert reported[-1] <= last <= reported[-1] + 1
    assert len(reported) >= KILLS


def test_full_disk_refuses_a_commit_whole_and_takes_it_when_there_is_room(path: Path) -> None:
    """The kernel refuses to grow the log (EFBIG under RLIMIT_FSIZE)."""
    child = subprocess.run(
        [*CHILD, str(path), str(700_000)], cwd=ROOT, capture_output=True, text=True, timeout=60
    )
    assert child.returncode == 0, child.stderr
    lines = child.stdout.splitlines()
    refused = [line for line in lines if line.startswith("refused")]
    assert len(refused) == 1
    assert "the store refused a commit and kept nothing of it" in refused[0]
    done = numbers_of(lines)
    assert len(done) > 3
    assert lines[-2:] == [refused[0], f"done {done[-1]}"]
    assert done == list(range(1, done[-1] + 1))
    assert int(refused[0].split()[1]) == done[-1]
    assert assert_whole(path) == done[-1]


def test_file_at_its_page_limit_refuses_a_commit_whole(path: Path) -> None:
    """SQLITE_FULL, as a full disk gives it, from SQLite's own page limit."""
    with Store(path) as store:
        store.register(SERIES)
        for number in (1, 2, 3):
            store.commit(batch_of(number))
        ((pages,),) = store._connection.execute("PRAGMA page_count").fetchall()
        store._connection.execute(f"PRAGMA max_page_count = {pages + 2}")
        number = 4
        with suppress(StoreError):
            while number < 100:
                store.commit(batch_of(number))
                number += 1
        assert 4 < number < 100
        assert assert_whole(path) == number - 1
        with pytest.raises(StoreError, match="database or disk is full"):
            store.commit(batch_of(number))
        store._connection.execute("PRAGMA max_page_count = 1000000")
        assert store.commit(batch_of(number)) == Committed(number, 41, 1, 1)
        store.commit(batch_of(number + 1))
    assert assert_whole(path) == number + 1
