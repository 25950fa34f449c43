"""Whom a notice reaches, and when: nights, absences, and what is overtaken while it waits."""

from __future__ import annotations

from contextlib import closing
from datetime import date
from pathlib import Path
from sqlite3 import connect

import pytest

from collector.alarm_record import Withdrawal
from collector.messages import NewMessage
from collector.notices import BrokerAway, Notices
from collector.notices.notice import Notice, Turn
from collector.store import Commit, Store
from collector.telling import Person
from rules import Priority
from tests.telling.parts import HOUR, MINUTE, NOON, ZONE, at, person

NIGHT = at("2026-05-06 23:30")
MORNING = at("2026-05-07 07:00")
AWAY = ((date(2026, 5, 1), date(2026, 5, 9)),)
SAM = person("sam", channels=("json",))
KIM = person("kim", channels=("mailto",), away=AWAY)


class Says:
    """A source that says one thing once."""

    def __init__(self, notice: Notice) -> None:
        self._notice: Notice | None = notice

    def turn(self, now_us: int, *, is_connected: bool, is_catching_up: bool) -> Turn | None:
        notice, self._notice = self._notice, None
        return None if notice is None else Turn(notice)


def told(
    people: list[Person], now_us: int, priority: Priority = Priority.HIGH, *, waits: bool = True
) -> list[tuple[str, str, int]]:
    notices = Notices([Says(Notice("outage", "title", "body", priority, waits=waits))], people, ZONE)
    notices.turn(now_us, is_connected=True, is_catching_up=False)
    return [(one.person, one.channel, one.not_before_us) for one in notices.drain().messages]


def test_by_day_everybody_who_is_there_is_told_at_once() -> None:
    assert told([SAM, KIM, person("ann", channels=("a", "b"))], NOON) == [
        ("sam", "json", NOON),
        ("ann", "a", NOON),
        ("ann", "b", NOON),
    ]


def test_if_everybody_is_away_everybody_is_told() -> None:
    assert told([KIM], NOON) == [("kim", "mailto", NOON)]


@pytest.mark.parametrize(
    ("priority", "from_us"), [(Priority.LOW, MORNING), (Priority.HIGH, MORNING), (Priority.URGENT, NIGHT)]
)
def test_what_does_not_ring_at_night_waits_for_each_ones_morning(priority: Priority, from_us: int) -> None:
    late = person("ann", channels=("a",), night=(22 * 60, 9 * 60))
    later_us = from_us if priority is Priority.URGENT else from_us + 2 * HOUR
    assert told([SAM, late], NIGHT, priority) == [("sam", "json", from_us), ("ann", "a", later_us)]


def test_what_helps_only_now_is_not_told_to_who_sleeps() -> None:
    watcher = person("ann", channels=("a",), night=(0, 0))
    assert told([SAM, watcher], NIGHT, waits=False) == [("ann", "a", NIGHT)]


def test_a_broker_that_comes_back_at_night_is_one_message_in_the_morning(tmp_path: Path) -> None:
    notices = Notices([BrokerAway(None, "127.0.0.1:1883", ZONE, 15 * MINUTE)], [SAM], ZONE)
    path = tmp_path / "store.sqlite"
    now_us = NIGHT
    with Store(path, synchronous="OFF") as store:
        for minute in range(60):
            notices.turn(now_us, is_connected=minute >= 40, is_catching_up=False)
            noticed = notices.drain()
            messages, withdrawals = noticed.messages, noticed.withdrawals
            store.commit(Commit(now_us, now_us, messages=messages, withdrawals=withdrawals))
            now_us += MINUTE
    with closing(connect(path)) as connection:
        rows = connection.execute("SELECT kind, not_before_us, state FROM outbox ORDER BY id").fetchall()
    assert rows == [("broker_away", MORNING, "given_up"), ("broker_back", MORNING, "waiting")]


def test_a_notice_withdraws_no_message_of_an_incident(tmp_path: Path) -> None:
    with Store(tmp_path / "store.sqlite", synchronous="OFF") as store:
        messages = [
            NewMessage(None, kind, "sam", "json", NOON, NOON, "title", "body", Priority.LOW)
            for kind in ("broker_away", "outage")
        ]
        store.commit(Commit(NOON, NOON, messages=messages))
        store.commit(Commit(NOON, NOON, withdrawals=[Withdrawal(None, kinds=("broker_away",))]))
    with closing(connect(tmp_path / "store.sqlite")) as connection:
        rows = connection.execute("SELECT kind, state FROM outbox ORDER BY id").fetchall()
    assert rows == [("broker_away", "given_up"), ("outage", "waiting")]
