"""The loop: when it commits, what it acknowledges, and how it goes on while the store refuses."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from collector.intake.unstored import UnstoredMessages
from collector.messages import NewMessage, Outcome
from collector.mqtt import Receipt
from rules import Priority
from tests.intake.parts import MINUTE, SECOND, START_US, Running

Begin = Callable[..., Running]


def test_a_message_is_acknowledged_after_the_commit_that_holds_it(running: Running) -> None:
    running.line.acknowledged.clear()
    running.keeper.is_refusing = True
    running.line.bring(running.timed(25.0))
    running.rounds()
    assert running.line.acknowledged == []
    running.keeper.is_refusing = False
    running.pass_time(2)
    assert running.stored() == [(START_US, 25.0)]
    assert running.line.acknowledged[0] == Receipt(1, 2)  # the marker, and the reading


def test_a_store_that_refuses_is_tried_again_and_told_once(
    running: Running, caplog: pytest.LogCaptureFixture
) -> None:
    running.keeper.is_refusing = True
    for number in range(30):
        running.line.bring(running.timed(25.0 + number / 100))
        running.pass_time(1)
    assert running.stored() == []
    assert running.line.acknowledged == []
    running.keeper.is_refusing = False
    running.pass_time(40)
    assert [value for _, value in running.stored()] == [25.0 + number / 100 for number in range(30)]
    assert running.line.acknowledged[-1].up_to == 31
    assert caplog.text.count("the disk is full") == 1
    assert caplog.text.count("the store works again") == 1


def test_an_alarm_that_comes_while_the_store_refuses_is_told_once_when_it_works(running: Running) -> None:
    running.keeper.is_refusing = True
    for _ in range(30):
        running.line.bring(running.timed(28.0))
        running.pass_time(10, 10)
    running.keeper.is_refusing = False
    running.pass_time(40)
    assert running.alarms() == [("AlarmRaised", "over_danger_line")]
    assert len(running.reader.incidents()) == 1


def alarm_while_refused(running: Running) -> None:
    """Five minutes beyond the danger line, on a full disk."""
    running.keeper.is_refusing = True
    for _ in range(30):
        running.line.bring(running.timed(28.0))
        running.pass_time(10, 10)


def test_what_the_broker_holds_back_while_the_store_refuses_is_no_silence(running: Running) -> None:
    running.line.window = 20
    running.keeper.is_refusing = True
    marks = running.line.marks
    for number in range(19):  # and the marker, which was not acknowledged yet
        running.line.bring(running.timed(25.0, packet_id=number + 1))
        running.pass_time(10, 10)
    running.pass_time(3600, 5)
    assert running.unstored.due(running.now_us) == ()
    assert running.line.marks == marks
    running.keeper.is_refusing = False
    running.pass_time(40)
    assert running.line.marks == marks + 1
    hour = [running.timed(25.0, running.now_us - (60 - n) * MINUTE, packet_id=n + 21) for n in range(60)]
    running.line.bring(*hour, caught_up=60)
    running.pass_time(60, 5)
    assert running.alarms() == []
    assert len(running.stored()) == 79


def test_a_store_that_refuses_while_the_window_has_room_hides_no_silence(running: Running) -> None:
    running.line.bring(running.timed(25.0))
    running.rounds()
    running.keeper.is_refusing = True
    running.line.bring(running.message("redox", "300", packet_id=2))
    running.pass_time(16 * 60, 5)
    assert [message.title for message in running.unstored.due(running.now_us)] == ["probe_silent"]


def test_a_store_that_refuses_does_not_keep_the_phone_from_ringing(running: Running) -> None:
    alarm_while_refused(running)
    due = running.unstored.due(running.now_us)
    assert [message.title for message in due] == ["over_danger_line"]


def test_what_was_rung_past_the_store_is_not_rung_again_from_it(running: Running) -> None:
    alarm_while_refused(running)
    (message,) = running.unstored.due(running.now_us)
    number = running.unstored.record_try_started(message.id, running.now_us)
    running.unstored.record_try_ended(number, running.now_us, Outcome.DELIVERED)
    running.keeper.is_refusing = False
    running.pass_time(40)
    assert len(running.reader.incidents()) == 1
    assert running.reader.deliveries(1) == ()


@pytest.mark.parametrize("outcome", [Outcome.DELIVERED, Outcome.FAILED])
def test_what_is_being_rung_when_the_store_works_again_is_told_in_one_place(
    running: Running, outcome: Outcome
) -> None:
    alarm_while_refused(running)
    (message,) = running.unstored.due(running.now_us)
    number = running.unstored.record_try_started(message.id, running.now_us)
    running.keeper.is_refusing = False
    running.pass_time(60)
    assert running.reader.incidents() == ()
    running.unstored.record_try_ended(number, running.now_us, outcome, retry_at_us=running.now_us)
    running.pass_time(5)
    assert len(running.reader.incidents()) == 1
    assert len(running.reader.deliveries(1)) == (outcome is Outcome.FAILED)
    assert running.unstored.due(running.now_us) == ()


def test_what_is_being_rung_at_the_end_is_stored_all_the_same(running: Running) -> None:
    alarm_while_refused(running)
    (message,) = running.unstored.due(running.now_us)
    running.unstored.record_try_started(message.id, running.now_us)
    running.keeper.is_refusing = False
    running.intake.finish()
    assert len(running.reader.deliveries(1)) == 1


def test_what_the_store_is_being_given_is_not_rung_past_it_meanwhile() -> None:
    told = NewMessage(1, "opened", "sam", "json", START_US, START_US, "", "", Priority.URGENT)
    unstored = UnstoredMessages()
    unstored.add([told])
    assert unstored.claim([told]) == [told]
    assert unstored.due(START_US) == ()
    unstored.release()
    assert len(unstored.due(START_US)) == 1


def test_what_could_not_be_rung_past_the_store_is_left_to_it(running: Running) -> None:
    alarm_while_refused(running)
    (message,) = running.unstored.due(running.now_us)
    number = running.unstored.record_try_started(message.id, running.now_us)
    later_us = running.now_us + 60 * SECOND
    running.unstored.record_try_ended(number, running.now_us, Outcome.FAILED, "no", retry_at_us=later_us)
    assert running.unstored.due(running.now_us) == ()
    running.keeper.is_refusing = False
    running.pass_time(40)
    assert [one.message.title for one in running.reader.deliveries(1)] == ["over_danger_line"]
    assert running.unstored.due(later_us) == ()


def test_a_commit_waits_for_its_interval(begin: Begin) -> None:
    running = begin(interval_s=1.0)
    running.be_live()
    running.line.bring(running.timed(25.0))
    running.rounds(1)
    running.pass_time(0.9, 0.3)
    assert running.stored() == []
    running.pass_time(0.2, 0.1)
    assert len(running.stored()) == 1


@pytest.mark.parametrize(
    ("value", "is_at_once"),
    [
        pytest.param(26.99, False, id="just under"),
        pytest.param(27.0, False, id="at the setpoint"),
        pytest.param(27.01, True, id="just over"),
    ],
)
def test_a_reading_that_crosses_a_limit_is_committed_at_once(
    begin: Begin, value: float, is_at_once: bool
) -> None:
    running = begin(interval_s=1.0)
    running.be_live()
    running.line.bring(running.timed(value))
    running.rounds(1)
    assert bool(running.stored()) is is_at_once
    running.now_us += 2 * SECOND
    running.rounds()
    running.line.bring(running.timed(value + 0.1))
    running.rounds(1)
    # After 26.99 and 27.0 this one crosses; after 27.01 nothing is crossed any more.
    assert len(running.stored()) == (1 if is_at_once else 2)


@pytest.mark.parametrize(("count", "is_at_once"), [(18, False), (19, True), (20, True)])
def test_a_full_window_is_committed_at_once(begin: Begin, count: int, is_at_once: bool) -> None:
    """The broker would send nothing more before acknowledgements; the marker is one of the messages."""
    running = begin(interval_s=1.0)
    running.line.window = 20
    running.line.bring(caught_up=0)
    running.line.acknowledged.clear()
    running.intake.round()
    running.line.acknowledged.clear()
    running.line.bring(*(running.timed(25.0, START_US + number) for number in range(count)))
    running.intake.round()
    assert len(running.stored()) == (count if is_at_once else 0)


def test_an_idle_line_commits_nothing(running: Running) -> None:
    running.pass_time(2)
    before = len(running.keeper.commits)
    running.pass_time(20)
    assert len(running.keeper.commits) == before


def test_stopping_commits_and_acknowledges_what_was_received(begin: Begin) -> None:
    running = begin(interval_s=60.0)
    running.be_live()
    running.line.bring(running.timed(25.0))
    running.rounds(1)
    running.intake.finish()
    assert len(running.stored()) == 1
    assert running.line.acknowledged[-1] == Receipt(1, 2)


def test_messages_that_say_nothing_are_acknowledged_even_in_a_backlog(begin: Begin) -> None:
    running = begin()
    running.line.bring(running.message("nobody/knows", "1"))
    running.rounds()
    assert running.line.acknowledged[-1] == Receipt(1, 1)


def test_a_payload_that_cannot_be_read_is_counted_in_the_commit_and_acknowledged(running: Running) -> None:
    for _ in range(3):
        running.line.bring(running.message("temperature", "wet"))
        running.rounds(1)
    rejected = running.reader.rejected()
    assert [(one.count, one.payload) for one in rejected] == [(3, b"wet")]
    assert running.line.acknowledged[-1] == Receipt(1, 4)
