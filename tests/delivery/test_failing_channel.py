"""A channel that fails is skipped at once, and its failure is told over another, once a spell."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from collector.alarm_record import Withdrawal
from collector.clock import Clock
from collector.configuration import Configuration, PersonConfiguration
from collector.delivery import ChannelFailure, DeliveryWorker, channel_names
from collector.messages import Detour, Outcome
from collector.notices import ChannelReports
from collector.store import Commit, Outbox, Store
from collector.telling import people_of
from rules import Priority
from tests.delivery.post import BODY, TITLE, configuration, message, outcomes, put, query, states
from tests.delivery.receivers import WebReceiver, free_port, wait_for

REPORT = "Messages do not reach sam over json"


@contextmanager
def delivering(setup: Configuration, outbox: Outbox, clock: Clock) -> Iterator[DeliveryWorker]:
    reports = ChannelReports(people_of(setup, channel_names), "UTC")
    with DeliveryWorker(setup, outbox, clock=clock, report=reports, pause_s=0.05) as worker:
        yield worker


@pytest.fixture
def clock() -> Clock:
    """No retry comes within a test: what arrives at once went over another channel."""
    return Clock()


def channels(path: Path) -> list[tuple[str, str]]:
    return query(path, "SELECT channel, state FROM outbox WHERE kind != 'channel_fails' ORDER BY id")


def test_a_message_goes_on_at_once_and_the_failure_is_told(
    store: Store, outbox: Outbox, path: Path, clock: Clock
) -> None:
    with WebReceiver(403) as first, WebReceiver() as second:
        put(store, clock.now_us(), message(clock.now_us()))
        with delivering(configuration(first.url, second.url), outbox, clock):
            wait_for(lambda: len(second.rings) == 2)
            wait_for(lambda: "waiting" not in states(path))
    (told, report) = second.rings
    assert told == (TITLE, BODY)
    assert report[0] == REPORT
    assert "403" in report[1]
    assert "They go over json 2 instead. Mend it, then try: brinebell check --ring" in report[1]
    assert len(report[1].split()) <= 40
    assert outcomes(path) == ["failed", "delivered", "delivered"]
    assert channels(path) == [("json", "given_up"), ("json 2", "done")]
    assert query(path, "SELECT instead_of, after_try FROM outbox WHERE id = 2") == [(1, 1)]


def test_a_failure_is_told_once_until_the_channel_has_worked(
    store: Store, outbox: Outbox, path: Path, clock: Clock
) -> None:
    # Refuses twice, takes one, and refuses from then on.
    with (
        WebReceiver(500, 500, 200, 500) as first,
        WebReceiver() as second,
        delivering(configuration(first.url, second.url), outbox, clock) as worker,
    ):
        for number in range(1, 5):
            put(store, clock.now_us(), message(clock.now_us(), incident=number, title=str(number)))
            worker.wake()
            wait_for(lambda count=number: first.requests == count)
            wait_for(lambda: "waiting" not in states(path))
    assert [title for title, _ in second.rings] == ["1", REPORT, "2", "4", REPORT]
    assert [title for title, _ in first.rings] == ["3"]


def test_a_lone_channel_is_tried_again_and_its_failure_is_told_to_the_next_person(
    store: Store, outbox: Outbox, path: Path
) -> None:
    clock = Clock(rate=20.0)
    with WebReceiver(500, 200) as sam, WebReceiver() as kim:
        setup = configuration(sam.url)
        people = (*setup.people, PersonConfiguration("kim", (kim.url,), night=(0, 0)))
        put(store, clock.now_us(), message(clock.now_us()))
        with delivering(replace(setup, people=people), outbox, clock):
            wait_for(lambda: sam.rings and kim.rings)
    assert sam.rings == [(TITLE, BODY)]
    ((title, body),) = kim.rings
    assert title == REPORT
    assert "They are tried again." in body


def test_where_nothing_works_all_channels_are_tried_in_turn_and_the_first_that_works_rings(
    store: Store, outbox: Outbox, path: Path
) -> None:
    clock, late = Clock(rate=20.0), free_port()
    with WebReceiver(500) as first:
        put(store, clock.now_us(), message(clock.now_us()))
        with delivering(configuration(first.url, f"json://127.0.0.1:{late}/"), outbox, clock):
            wait_for(lambda: outcomes(path).count("failed") >= 3)
            with WebReceiver(port=late) as second:
                wait_for(lambda: any(title == TITLE for title, _ in second.rings))
                wait_for(lambda: "waiting" not in states(path))
    assert [title for title, _ in second.rings].count(TITLE) == 1


def test_both_channels_of_a_priority_ring_and_one_that_fails_needs_no_detour(
    store: Store, outbox: Outbox, path: Path, clock: Clock
) -> None:
    with WebReceiver(500) as first, WebReceiver() as second:
        now_us = clock.now_us()
        put(store, now_us, message(now_us), message(now_us, channel="json 2"))
        with delivering(configuration(first.url, second.url), outbox, clock):
            wait_for(lambda: len(second.rings) == 2)
            time.sleep(0.3)
    assert sorted(title for title, _ in second.rings) == sorted([TITLE, REPORT])


def test_what_was_withdrawn_while_it_was_sent_goes_nowhere_else(
    store: Store, outbox: Outbox, path: Path
) -> None:
    put(store, 1, message(1))
    number = outbox.record_try_started(1, 2)
    store.commit(Commit(3, 3, withdrawals=[Withdrawal(1)]))
    outbox.record_try_ended(number, 4, Outcome.FAILED, "no", retry_at_us=9, detour=Detour("json 2", 4))
    assert channels(path) == [("json", "given_up")]


def test_a_report_waits_for_the_morning() -> None:
    """Nobody is woken for it; what was to ring goes elsewhere meanwhile."""
    setup = configuration("json://a", "json://b")
    people = people_of(setup, channel_names)
    sleeper = replace(people[0], night=(22 * 60, 7 * 60))
    day_us = 24 * 3600 * 1_000_000
    report = ChannelReports([sleeper], "UTC")(
        ChannelFailure("sam", "json", day_us, "no route", "json 2"), {("sam", "json")}, 2 * day_us
    )
    assert report is not None
    assert (report.channel, report.priority) == ("json 2", Priority.HIGH)
    assert report.not_before_us == 2 * day_us + 7 * 3600 * 1_000_000


def test_a_report_that_nobody_can_hear_is_none() -> None:
    people = people_of(configuration("json://a"), channel_names)
    failure = ChannelFailure("sam", "json", 0, "no", "")
    assert ChannelReports(people, "UTC")(failure, {("sam", "json")}, 0) is None


def test_a_report_that_waits_is_called_off_when_the_channel_works(
    store: Store, outbox: Outbox, path: Path
) -> None:
    later_us = 9 * 3600 * 1_000_000
    put(store, 1, message(1), message(1, title="next"))
    report = message(3, incident=None, kind="channel_fails", channel="json 2", not_before_us=later_us)
    outbox.record_try_ended(outbox.record_try_started(1, 2), 3, Outcome.FAILED, "no", report=report)
    assert [one.is_told for one in outbox.failing()] == [True]
    outbox.record_try_ended(outbox.record_try_started(2, 4), 5, Outcome.DELIVERED)
    assert outbox.failing() == ()
    assert query(path, "SELECT state FROM outbox WHERE kind = 'channel_fails'") == [("given_up",)]
