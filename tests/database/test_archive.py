"""The database as somebody asks it who waits: bounded, left alone after a failure, asked by one thread."""

from __future__ import annotations

import itertools
import threading
from collections.abc import Iterator

import numpy as np
import pytest

from collector.database import Archive
from collector.errors import DatabaseError
from collector.store import Readings

ENDS = itertools.count(1)
NONE = Readings(np.empty(0, np.int64), np.empty(0), np.empty(0, np.uint8))


class Clock:
    """Stands until it is moved."""

    def __init__(self) -> None:
        self.now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


class Database:
    """One that answers at once, after some time by the clock, never, or with an error."""

    def __init__(self, clock: Clock) -> None:
        self.clock, self.takes_s, self.error = clock, 0.0, ""
        self.opened = self.asked = 0
        self.threads: set[int] = set()
        self.may_answer = threading.Event()
        self.may_answer.set()
        self.is_closed = threading.Event()

    def open(self) -> Database:
        self.opened += 1
        return self

    def readings(self, tank: str, series: str, start_us: int, end_us: int) -> Readings:
        self.asked += 1
        self.threads.add(threading.get_ident())
        self.may_answer.wait(20)
        self.clock.now_s += self.takes_s
        if self.error:
            raise DatabaseError(self.error)
        return NONE

    def close(self) -> None:
        self.is_closed.set()


@pytest.fixture
def database() -> Database:
    return Database(Clock())


@pytest.fixture
def archive(database: Database) -> Iterator[Archive]:
    archive = Archive(database.open, prompt_s=0.2, patience_s=0.4, alone_s=60.0, monotonic=database.clock)
    yield archive
    database.may_answer.set()
    archive.close()


def ask(archive: Archive, end_us: int | None = None) -> str:
    """What is said to another question each time; "" for an answer."""
    try:
        archive.readings("reef", "ph", 0, next(ENDS) if end_us is None else end_us)
    except DatabaseError as error:
        return str(error)
    return ""


def test_it_is_opened_at_the_first_question_and_closed_with_the_archive_by_one_thread(
    database: Database, archive: Archive
) -> None:
    assert database.opened == 0
    assert [ask(archive) for _ in range(3)] == [""] * 3
    assert (database.opened, database.asked, len(database.threads)) == (1, 3, 1)
    assert threading.get_ident() not in database.threads
    archive.close()
    assert database.is_closed.wait(5)


def test_after_a_failure_it_is_left_alone_for_a_while_and_its_reason_is_repeated_at_once(
    database: Database, archive: Archive
) -> None:
    database.error = "no such bucket"
    assert ask(archive) == "no such bucket"
    database.error = ""
    database.clock.now_s += 59
    assert ask(archive) == "no such bucket"
    assert database.asked == 1
    database.clock.now_s += 1
    assert ask(archive) == ""


def test_nobody_waits_longer_than_the_bound_for_one_that_is_silent(
    database: Database, archive: Archive
) -> None:
    database.may_answer.clear()
    assert ask(archive) == "it has not answered within 0.6 s"
    assert ask(archive) == "it has not answered within 0.6 s"
    # It hangs still, and whoever comes next waits as long at most.
    database.clock.now_s += 60
    assert "has not answered" in ask(archive)
    assert database.asked == 1
    database.may_answer.set()
    database.clock.now_s += 60
    assert ask(archive) == ""
    # What nobody waited for any more was not asked.
    assert database.asked == 2


def test_slow_answers_cost_patience_which_time_gives_back(database: Database, archive: Archive) -> None:
    database.takes_s = 0.2
    assert [ask(archive) for _ in range(9)] == [""] * 9
    database.takes_s = 0.3
    assert [ask(archive) for _ in range(3)] == [""] * 3
    database.may_answer.clear()
    assert ask(archive) == "it has not answered within 0.3 s"
    database.clock.now_s += 60
    assert ask(archive) == "it has not answered within 0.6 s"


def test_the_last_answer_is_given_once_more_for_a_while(database: Database, archive: Archive) -> None:
    assert [ask(archive, 7) for _ in range(3)] == [""] * 3
    assert database.asked == 1
    database.clock.now_s += 60
    assert ask(archive, 7) == ""
    assert ask(archive, 8) == ""
    assert database.asked == 3
