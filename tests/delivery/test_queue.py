"""Which messages leave now: urgent first, each incident in order, and not too many within a while."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from collector.delivery.queue import MOST, WINDOW_US, channel_of, choose
from collector.messages import Message
from rules import Priority

NOW = 10 * WINDOW_US
PLAIN = Message(1, 1, "opened", "sam", "json", NOW, NOW, "title", "body", Priority.HIGH, 0)

messages = st.lists(
    st.builds(
        lambda number, incident, kind, channel, priority, after_us: replace(
            PLAIN,
            id=number,
            incident=incident,
            kind=kind,
            channel=channel,
            priority=priority,
            not_before_us=NOW + after_us,
        ),
        st.integers(1, 99),
        st.sampled_from([None, 1, 2]),
        st.sampled_from(["opened", "again", "ended"]),
        st.sampled_from(["json", "mailto"]),
        st.sampled_from(list(Priority)),
        st.sampled_from([-1, 0, 1, WINDOW_US]),
    ),
    max_size=12,
    unique_by=lambda message: message.id,
)
pasts = st.dictionaries(
    st.tuples(st.just("sam"), st.sampled_from(["json", "mailto"])),
    st.lists(st.integers(NOW - WINDOW_US, NOW), max_size=2 * MOST).map(sorted),
)


def chosen(waiting: list[Message], handed: dict | None = None, busy: frozenset = frozenset()):
    return choose(
        waiting, busy=busy, handed_us=handed or {}, due_us=lambda one: one.not_before_us, now_us=NOW
    )


@given(messages, pasts)
def test_of_one_incident_and_channel_the_first_goes_first(waiting: list[Message], handed: dict) -> None:
    for one in chosen(waiting, handed).messages:
        if one.incident is not None:
            same = [w.id for w in waiting if (channel_of(w), w.incident) == (channel_of(one), one.incident)]
            assert one.id == min(same)


@given(messages, pasts)
def test_one_a_channel_leaves_and_none_before_its_time_or_over_a_busy_one(
    waiting: list[Message], handed: dict
) -> None:
    leaving = chosen(waiting, handed).messages
    assert len({channel_of(one) for one in leaving}) == len(leaving)
    assert all(one.not_before_us <= NOW for one in leaving)
    busy = frozenset(map(channel_of, waiting))
    assert chosen(waiting, handed, busy).messages == []


@given(messages, pasts)
def test_what_does_not_leave_now_is_looked_at_again(waiting: list[Message], handed: dict) -> None:
    leaving, next_us = chosen(waiting, handed)
    if waiting and not leaving:
        assert next_us is not None
        assert NOW < next_us <= NOW + WINDOW_US


@given(messages, pasts)
def test_an_urgent_message_that_may_be_sent_is_never_held_by_the_limit(
    waiting: list[Message], handed: dict
) -> None:
    with_limit, without = chosen(waiting, handed).messages, chosen(waiting).messages
    urgent = [one.id for one in without if one.priority is Priority.URGENT and one.kind != "again"]
    assert {*urgent} <= {one.id for one in with_limit}


def test_more_than_the_limit_waits_until_the_oldest_is_old_enough() -> None:
    handed_us = [NOW - WINDOW_US + 1 + place for place in range(MOST)]
    held = chosen([PLAIN], {("sam", "json"): handed_us})
    assert held.messages == []
    assert held.next_us == NOW + 1
    assert chosen([PLAIN], {("sam", "json"): handed_us[1:]}).messages == [PLAIN]
    assert chosen([replace(PLAIN, channel="mailto")], {("sam", "json"): handed_us}).messages != []
