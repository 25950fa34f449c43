"""The outbox: what is due, in which order, what a try changes, and what a crash leaves."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from collector.errors import StoreError
from collector.store import Commit, NewMessage, Outbox, Outcome, Store
from collector.store.connection import connect
from rules import Priority
from tests.store.commits import of, query, row

MESSAGE = NewMessage(None, "ring", "sam", "first", 1000, 1000, "title", "body", Priority.HIGH)


@pytest.fixture
def outbox(store: Store, path: Path) -> Iterator[Outbox]:
    with Outbox(path) as outbox:
        yield outbox


def put(store: Store, *messages: NewMessage) -> None:
    store.commit(Commit(1000, 1000, messages=messages))


@pytest.mark.parametrize(("now_us", "count"), [(999, 0), (1000, 1), (1001, 1)])
def test_message_is_due_from_its_instant_on(store: Store, outbox: Outbox, now_us: int, count: int) -> None:
    put(store, MESSAGE)
    assert len(outbox.due(now_us)) == count
    assert outbox.next_due_us() == 1000


def test_message_comes_out_as_it_went_in(store: Store, outbox: Outbox) -> None:
    put(store, MESSAGE)
    (message,) = outbox.due(1000)
    assert {name: getattr(message, name) for name in NewMessage.__slots__} == {
        name: getattr(MESSAGE, name) for name in NewMessage.__slots__
    }
    assert message.tries == 0


def test_urgent_goes_first_then_the_older(store: Store, outbox: Outbox) -> None:
    order = (Priority.LOW, Priority.HIGH, Priority.URGENT, Priority.HIGH, Priority.URGENT)
    put(store, *(replace(MESSAGE, title=str(n), priority=priority) for n, priority in enumerate(order)))
    assert [message.title for message in outbox.due(2000)] == ["2", "4", "1", "3", "0"]
    assert [message.title for message in outbox.due(2000, limit=2)] == ["2", "4"]


def test_delivered_message_is_done(store: Store, outbox: Outbox, path: Path) -> None:
    put(store, MESSAGE)
    number = outbox.record_try_started(outbox.due(1000)[0].id, 1100)
    assert len(outbox.due(1000)) == 1
    outbox.record_try_ended(number, 1200, Outcome.DELIVERED)
    assert outbox.due(10**9) == ()
    assert outbox.next_due_us() is None
    assert query(path, "SELECT state FROM outbox") == [("done",)]


def test_failed_try_waits_until_its_retry(store: Store, outbox: Outbox) -> None:
    put(store, MESSAGE)
    number = outbox.record_try_started(outbox.due(1000)[0].id, 1100)
    outbox.record_try_ended(number, 1200, Outcome.FAILED, "no route", retry_at_us=5000)
    assert outbox.due(4999) == ()
    (message,) = outbox.due(5000)
    assert (message.tries, message.may_repeat) == (1, False)
    assert outbox.next_due_us() == 5000


def test_given_up_message_is_sent_no_more_and_done_stays_done(
    store: Store, outbox: Outbox, path: Path
) -> None:
    put(store, MESSAGE, MESSAGE)
    first, second = outbox.due(1000)
    outbox.give_up(first.id)
    outbox.record_try_ended(outbox.record_try_started(second.id, 1100), 1200, Outcome.DELIVERED)
    outbox.give_up(second.id)
    assert outbox.due(10**9) == ()
    assert query(path, "SELECT state FROM outbox ORDER BY id") == [("given_up",), ("done",)]


def test_try_cut_off_by_a_crash_is_found_at_the_next_start(store: Store, outbox: Outbox, path: Path) -> None:
    put(store, MESSAGE, replace(MESSAGE, title="other"))
    message = outbox.due(1000)[1]
    outbox.record_try_started(message.id, 1100)
    outbox.close()
    with Outbox(path) as again:
        ((cut, found),) = again.unfinished_tries()
        assert (cut.started_us, found.title, found.tries) == (1100, "other", 1)
        again.record_try_ended(cut.id, 1500, Outcome.INTERRUPTED, retry_at_us=1500)
        assert again.unfinished_tries() == ()
        assert [one.may_repeat for one in again.due(1500)] == [False, True]


def test_message_of_a_failed_commit_is_never_due(store: Store, outbox: Outbox) -> None:
    with pytest.raises(StoreError):
        put(store, MESSAGE, replace(MESSAGE, incident=42))
    assert outbox.due(10**9) == ()


def test_tries_and_commits_do_not_hinder_each_other(store: Store, outbox: Outbox) -> None:
    put(store, *[MESSAGE] * 20)
    for second, message in enumerate(outbox.due(1000)):
        number = outbox.record_try_started(message.id, 1100)
        assert store.commit(of(row(0, second, 25.0))).inserted == 1
        outbox.record_try_ended(number, 1200, Outcome.DELIVERED)
    assert outbox.due(10**9) == ()


def test_locked_store_is_a_store_error(store: Store, path: Path) -> None:
    put(store, MESSAGE)
    with (
        Outbox(path, busy_timeout_s=0.05) as outbox,
        closing(connect(path, synchronous="FULL", busy_timeout_s=1)) as other,
    ):
        (message,) = outbox.due(1000)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreError, match="database is locked"):
            outbox.record_try_started(message.id, 1100)
        other.execute("ROLLBACK")
        outbox.record_try_started(message.id, 1100)
