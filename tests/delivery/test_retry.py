"""When a message is tried again, given up, and what a late one says."""

from __future__ import annotations

from dataclasses import replace

import pytest

from collector.delivery.retry import due_us, is_given_up, outgoing_body, retry_at_us
from collector.messages import Message
from collector.wording import BODY_WORDS
from rules import HOUR_US, Priority

SECOND = 1_000_000
DAY = 24 * HOUR_US
MESSAGE = Message(1, 1, "opened", "sam", "json", 0, 0, "title", "body", Priority.URGENT, 0)


@pytest.mark.parametrize(
    ("tries", "seconds"), [(0, 15), (1, 30), (2, 60), (3, 120), (4, 240), (5, 300), (6, 300), (10**6, 300)]
)
def test_waits_double_up_to_five_minutes_for_urgent_ones(tries: int, seconds: int) -> None:
    assert retry_at_us(replace(MESSAGE, tries=tries), 1000) == 1000 + seconds * SECOND


@pytest.mark.parametrize(
    ("priority", "seconds"), [(Priority.URGENT, 300), (Priority.HIGH, 900), (Priority.LOW, 3600)]
)
def test_longest_wait_is_shorter_the_more_urgent(priority: Priority, seconds: int) -> None:
    assert retry_at_us(replace(MESSAGE, tries=99, priority=priority), 0) == seconds * SECOND


@pytest.mark.parametrize(
    ("tries", "ahead_s", "wait_s"), [(1, 299, 299), (1, 300, 300), (1, 301, 0), (0, 7200, 7200)]
)
def test_retry_farther_off_than_any_is_due_because_the_clock_was_set_back(
    tries: int, ahead_s: int, wait_s: int
) -> None:
    waiting = replace(MESSAGE, tries=tries, not_before_us=1000 + ahead_s * SECOND)
    assert due_us(waiting, 1000) == 1000 + wait_s * SECOND


@pytest.mark.parametrize(
    ("priority", "age_us", "expected"),
    [
        (Priority.LOW, DAY - 1, False),
        (Priority.LOW, DAY, False),
        (Priority.LOW, DAY + 1, True),
        (Priority.HIGH, 7 * DAY - 1, False),
        (Priority.HIGH, 7 * DAY, False),
        (Priority.HIGH, 7 * DAY + 1, True),
        (Priority.URGENT, 3650 * DAY, False),
    ],
)
def test_old_messages_are_given_up_but_urgent_ones_never(
    priority: Priority, age_us: int, expected: bool
) -> None:
    assert is_given_up(replace(MESSAGE, priority=priority), age_us) is expected


@pytest.mark.parametrize(
    ("may_repeat", "age_us", "body"),
    [
        (False, 0, "body"),
        (False, HOUR_US // 2 - 1, "body"),
        (False, HOUR_US // 2, "body 30 min old."),
        (True, 0, "body Possibly repeated."),
        (True, 2 * HOUR_US, "body Possibly repeated. 2 h old."),
        (False, 49 * HOUR_US, "body 2 days old."),
    ],
)
def test_late_or_repeated_message_says_so(may_repeat: bool, age_us: int, body: str) -> None:
    assert outgoing_body(replace(MESSAGE, may_repeat=may_repeat), age_us) == body


@pytest.mark.parametrize("age_us", [HOUR_US, 30 * HOUR_US, 400 * DAY])
def test_longest_body_has_forty_words_on_its_way_too(age_us: int) -> None:
    longest = replace(MESSAGE, body=" ".join(["word"] * BODY_WORDS), may_repeat=True)
    assert len(outgoing_body(longest, age_us).split()) <= 40
