"""Times given to payloads without one: what a redelivery gets, and how long that is remembered."""

from __future__ import annotations

import tracemalloc

from collector.intake.arrivals import Arrivals
from collector.mqtt import Message
from collector.store import Arrival

NOW_US = 1_790_000_000_000_000


def message(
    packet_id: int = 5, payload: bytes = b"1", *, redelivered: bool = False, at_us: int = NOW_US
) -> Message:
    return Message("a", payload, packet_id, False, redelivered, at_us)


def test_quality_of_service_0_is_never_redelivered_and_leaves_nothing_behind() -> None:
    arrivals = Arrivals()
    assert arrivals.give(message(0), [0], None) == NOW_US
    assert arrivals.take() == ([], [])


def test_what_is_recalled_is_what_was_given() -> None:
    arrivals = Arrivals()
    arrivals.give(message(4), [0], None)
    given_us = arrivals.give(message(5), [0], None)
    assert given_us == NOW_US + 1
    assert arrivals.recall(message(5, redelivered=True, at_us=NOW_US + 9)) == given_us


def test_a_message_that_is_no_redelivery_recalls_nothing() -> None:
    arrivals = Arrivals()
    arrivals.give(message(), [0], None)
    assert arrivals.recall(message()) is None


def test_what_the_store_kept_is_recalled_after_a_restart() -> None:
    first = Arrivals()
    given_us = first.give(message(), [0], None)
    second = Arrivals(first.take()[0])
    assert second.recall(message(redelivered=True)) == given_us


def test_a_marker_settles_what_was_acknowledged_before_it_and_nothing_after() -> None:
    arrivals = Arrivals()
    for packet_id in (1, 2, 3):
        arrivals.give(message(packet_id), [0], None)
    fresh, _ = arrivals.take()
    arrivals.acknowledged(fresh[:2])
    arrivals.mark()
    arrivals.acknowledged(fresh[2:])
    arrivals.settle()
    assert arrivals.take() == ([], [1, 2])
    assert arrivals.recall(message(1, redelivered=True)) is None
    assert arrivals.recall(message(3, redelivered=True)) is not None


def test_what_was_redelivered_before_the_marker_came_back_is_not_settled_by_it() -> None:
    """After a new connection: what the broker sends again, it had no acknowledgement for."""
    arrivals = Arrivals([Arrival(1, "a", b"", NOW_US), Arrival(2, "a", b"", NOW_US)])
    arrivals.give(message(2, redelivered=True), [0], NOW_US)
    arrivals.take()
    arrivals.mark()
    arrivals.settle()
    assert arrivals.take() == ([], [1])


def test_a_packet_id_used_anew_forgets_what_it_meant() -> None:
    """The broker uses an id again only when it has the acknowledgement (MQTT 5, 2.2.1)."""
    arrivals = Arrivals()
    arrivals.give(message(5), [0], None)
    arrivals.take()
    arrivals.saw(message(5, b"with its time"))
    assert arrivals.take() == ([], [5])
    assert arrivals.recall(message(5, redelivered=True)) is None


def test_a_clock_set_back_is_followed() -> None:
    arrivals = Arrivals()
    arrivals.give(message(1), [0], None)
    back_us = NOW_US - 3_600_000_000
    assert arrivals.give(message(2, at_us=back_us), [0], None) == back_us


def test_series_do_not_push_each_other() -> None:
    arrivals = Arrivals()
    assert arrivals.give(message(1), [0], None) == NOW_US
    assert arrivals.give(message(2), [1], None) == NOW_US


def test_where_no_marker_comes_back_no_more_is_kept_than_there_are_packet_ids() -> None:
    arrivals = Arrivals()
    tracemalloc.start()
    for number in range(20_000):
        arrivals.give(message(1 + number % 20, at_us=NOW_US + number), [0], None)
        arrivals.acknowledged(arrivals.take()[0])
        arrivals.mark()
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 100_000
