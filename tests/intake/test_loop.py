"""The loop: when it commits, what it acknowledges, and that nothing is stored or told twice."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from collector.intake.sorting import FUTURE_LIMIT_US, PAST_LIMIT_US
from collector.intake.unstored import UnstoredMessages
from collector.messages import NewMessage, Outcome
from collector.mqtt import Receipt
from collector.readings import Mark
from rules import Flag, Priority
from tests.intake.parts import MINUTE, REDOX, SECOND, START_US, Running

Begin = Callable[..., Running]


@pytest.fixture
def begin(tmp_path: Path) -> Iterator[Begin]:
    """Starts the loop, connected and in its backlog; closes everything in the end."""
    with ExitStack() as stack:

        def make(**settings: float) -> Running:
            running = Running(tmp_path, **settings)
            stack.callback(running.close)
            return running

        yield make


@pytest.fixture
def running(begin: Begin) -> Running:
    """A loop on a live line."""
    one = begin()
    one.be_live()
    return one


# -- commit, then acknowledge ---------------------------------------------------------------------


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


# -- the time of a reading ------------------------------------------------------------------------


def test_a_reading_without_a_time_gets_its_arrival(running: Running) -> None:
    running.line.bring(running.message("temperature", "25.5", ago_us=7))
    running.rounds()
    assert running.stored() == [(START_US - 7, 25.5)]
    assert running.marks() == [Mark.ARRIVAL_TIME]


def test_a_redelivery_gets_the_time_of_the_first_delivery(running: Running) -> None:
    running.line.bring(running.message("temperature", "25.5", packet_id=9))
    running.rounds()
    running.now_us += 5 * SECOND
    again = running.again()
    again.line.bring(again.message("temperature", "25.5", packet_id=9, redelivered=True), caught_up=1)
    again.rounds()
    assert again.stored() == [(START_US, 25.5)]


@pytest.mark.parametrize(
    "differs", [{"packet_id": 10}, {"redelivered": False}, {"payload": "25.6"}, {"topic": "redox"}]
)
def test_another_message_gets_a_time_of_its_own(running: Running, differs: dict[str, object]) -> None:
    running.line.bring(running.message("temperature", "25.5", packet_id=9))
    running.rounds()
    running.now_us += 5 * SECOND
    settings = {"topic": "temperature", "payload": "25.5", "packet_id": 9, "redelivered": True, **differs}
    running.line.bring(running.message(**settings))
    running.rounds()
    assert len(running.stored()) + len(running.stored(REDOX)) == 2


def test_without_a_session_at_the_broker_packet_ids_mean_nothing_old(running: Running) -> None:
    running.line.bring(running.message("temperature", "25.5", packet_id=1))
    running.rounds()
    assert len(running.store.arrivals()) == 1
    running.line.lose()
    running.line.connect(session_present=False)
    running.rounds(2)
    assert running.store.arrivals() == ()
    running.now_us += SECOND
    running.line.bring(running.message("temperature", "25.5", packet_id=1, redelivered=True), caught_up=1)
    running.rounds()
    assert len(running.stored()) == 2


def test_a_lost_session_empties_the_list_even_of_commits_that_still_wait(running: Running) -> None:
    running.keeper.is_refusing = True
    running.line.bring(running.message("temperature", "25.5", packet_id=1))
    running.rounds()
    running.line.lose()
    running.line.connect(session_present=False)
    running.rounds(2)
    running.keeper.is_refusing = False
    running.pass_time(5)
    assert len(running.stored()) == 1
    assert running.store.arrivals() == ()


def test_times_given_are_dropped_when_a_marker_confirms_their_acknowledgement(running: Running) -> None:
    running.line.bring(running.message("temperature", "25.5", packet_id=1))
    running.rounds()
    marks = running.line.marks
    running.pass_time(70)
    assert running.line.marks == marks + 1
    assert len(running.store.arrivals()) == 1
    running.line.bring(caught_up=0)
    running.rounds()
    running.line.bring(running.timed(25.0))
    running.rounds()
    assert running.store.arrivals() == ()


def test_a_line_that_is_never_quiet_has_its_acknowledgements_confirmed_too(running: Running) -> None:
    marks = running.line.marks
    for number in range(100):
        running.now_us += SECOND
        running.line.bring(running.message("temperature", "25.5", packet_id=number + 1))
        running.intake.round()
    assert running.line.marks == marks + 1


def test_two_readings_without_a_time_in_one_microsecond_stay_two(running: Running) -> None:
    running.line.bring(
        running.message("temperature", "25.5", packet_id=1),
        running.message("temperature", "25.5", packet_id=2),
    )
    running.rounds()
    assert running.stored() == [(START_US, 25.5), (START_US + 1, 25.5)]


def test_one_payload_with_two_values_of_a_series_and_no_time_holds_two_readings(running: Running) -> None:
    pack = '[{"n": "t", "v": 25.0}, {"n": "t", "v": 25.1}, {"n": "r", "v": 300}]'
    for redelivered in (False, True):
        running.line.bring(running.message("senml", pack, redelivered=redelivered))
        running.rounds()
        running.now_us += 3 * SECOND
    assert running.stored() == [(START_US, 25.0), (START_US + 1, 25.1)]
    assert running.stored(REDOX) == [(START_US, 300.0)]


def test_a_time_relative_to_arrival_is_the_same_for_a_redelivery(running: Running) -> None:
    """RFC 8428, 4.5.3: a time below 2**28 is relative to now."""
    for redelivered in (False, True):
        running.line.bring(
            running.message("senml", '[{"n": "t", "v": 25, "t": -10}]', redelivered=redelivered)
        )
        running.rounds()
        running.now_us += 3 * SECOND
    assert running.stored() == [(START_US - 10 * SECOND, 25.0)]


def test_a_relative_time_beside_a_missing_one_is_the_same_for_a_redelivery(running: Running) -> None:
    pack = '[{"n": "r", "v": 300}, {"n": "t", "v": 25, "t": -10}]'
    running.line.bring(running.message("redox", "299", packet_id=1))
    running.line.bring(running.message("senml", pack, packet_id=2))
    running.rounds(3)
    before = running.stored(), running.stored(REDOX)
    running.now_us += 3 * SECOND
    running.line.bring(running.message("senml", pack, packet_id=2, redelivered=True))
    running.rounds()
    assert (running.stored(), running.stored(REDOX)) == before
    assert len(before[1]) == 2


@pytest.mark.parametrize(
    ("time_us", "is_believed"),
    [
        pytest.param(START_US + FUTURE_LIMIT_US - 1, True, id="just under two minutes ahead"),
        pytest.param(START_US + FUTURE_LIMIT_US, True, id="two minutes ahead"),
        pytest.param(START_US + FUTURE_LIMIT_US + 1, False, id="more than two minutes ahead"),
        pytest.param(PAST_LIMIT_US - 1, False, id="just before 2000"),
        pytest.param(PAST_LIMIT_US, True, id="2000-01-01"),
        pytest.param(PAST_LIMIT_US + 1, True, id="just after"),
        pytest.param(0, False, id="1970: a board without a clock"),
    ],
)
def test_a_time_that_cannot_be_right_is_replaced_by_arrival(
    running: Running, time_us: int, is_believed: bool
) -> None:
    running.line.bring(running.timed(25.0, time_us))
    running.rounds()
    expected = (time_us, Mark.NONE) if is_believed else (START_US, Mark.TIME_REPLACED)
    assert (running.stored()[0][0], running.marks()[0]) == expected


def test_a_time_from_the_future_stays_replaced_when_it_comes_again_later(running: Running) -> None:
    ahead_us = START_US + 10 * MINUTE
    running.line.bring(running.timed(25.0, ahead_us))
    running.rounds()
    running.now_us = ahead_us + MINUTE
    again = running.again()
    again.line.bring(again.timed(25.0, ahead_us, redelivered=True), caught_up=1)
    again.rounds()
    assert again.stored() == [(START_US, 25.0)]


def test_the_same_key_with_another_value_is_a_conflict_and_the_first_stays(running: Running) -> None:
    running.line.bring(running.timed(25.0, START_US), running.timed(26.0, START_US))
    running.rounds()
    assert running.stored() == [(START_US, 25.0)]
    assert running.reader.conflict_count == 1
    assert b"26.0" in running.reader.conflicts()[0].payload


def test_a_late_reading_is_stored_and_marked_and_not_judged(running: Running) -> None:
    running.line.bring(running.timed(25.0, START_US))
    running.rounds()
    running.line.bring(running.timed(25.0, START_US - SECOND))
    running.rounds()
    assert running.marks() == [Mark.LATE, Mark.NONE]
    assert running.flags() == [Flag.NOT_EVALUATED, Flag.PASS]


# -- retained, backlog, outage --------------------------------------------------------------------


def test_a_retained_message_is_a_reading_only_with_a_time_of_its_own(running: Running) -> None:
    running.line.bring(
        running.message("temperature", "25.5", retained=True, packet_id=1),
        running.timed(26.0, START_US - MINUTE, retained=True, packet_id=2),
    )
    running.rounds()
    assert running.stored() == [(START_US - MINUTE, 26.0)]
    assert running.line.acknowledged[-1].up_to == 3


def test_in_a_backlog_only_the_newest_reading_of_unknown_time_reaches_the_engine(begin: Begin) -> None:
    running = begin()
    messages = [running.message("temperature", f"25.{n}", packet_id=n + 1) for n in range(3)]
    running.line.bring(*messages)
    running.rounds()
    unknown = Mark.ARRIVAL_TIME | Mark.TIME_UNKNOWN
    assert running.marks() == [unknown] * 3
    assert running.flags() == [Flag.NOT_EVALUATED] * 3
    running.be_live()
    assert running.flags() == [Flag.NOT_EVALUATED, Flag.NOT_EVALUATED, Flag.PASS]
    assert [commit.engine_us is None for commit in running.keeper.commits] == [True, True, False]


def test_a_redelivery_in_a_backlog_leaves_the_verdict_on_its_reading_alone(running: Running) -> None:
    running.line.bring(running.message("temperature", "99", packet_id=9))
    running.rounds()
    assert running.flags() == [Flag.FAIL]
    running.now_us += 3 * SECOND
    again = running.again()
    again.line.bring(again.message("temperature", "99", packet_id=9, redelivered=True), caught_up=1)
    again.rounds()
    assert again.flags() == [Flag.FAIL]


def test_what_follows_the_marker_in_one_round_is_live(begin: Begin) -> None:
    running = begin()
    first = running.message("temperature", "25.0", packet_id=1)
    second = running.message("redox", "300", packet_id=2)
    running.line.bring(first, second, caught_up=1)
    running.rounds()
    assert running.marks() == [Mark.ARRIVAL_TIME | Mark.TIME_UNKNOWN]
    assert running.marks(REDOX) == [Mark.ARRIVAL_TIME]


def test_a_backlog_with_times_rings_for_what_happened_and_no_silence_is_told(begin: Begin) -> None:
    running = begin()
    hour = [running.timed(28.0, START_US - 3600 * SECOND + n * 20 * SECOND) for n in range(10)]
    running.line.bring(*hour)
    running.pass_time(30 * 60, 60)
    assert running.alarms() == [("AlarmRaised", "over_danger_line")]


def test_a_probe_that_falls_silent_on_a_live_line_is_told(running: Running) -> None:
    running.line.bring(running.timed(25.0))
    running.pass_time(14 * 60, 5)
    assert running.alarms() == []
    running.pass_time(2 * 60, 5)
    assert running.alarms() == [("AlarmRaised", "probe_silent")]


def test_an_outage_of_the_line_makes_no_probe_silent(running: Running) -> None:
    running.line.bring(running.timed(25.0))
    running.rounds()
    running.line.lose()
    running.pass_time(60 * 60, 5)
    running.line.connect()
    running.line.bring(caught_up=0)
    running.pass_time(14 * 60, 5)
    assert running.alarms() == []
    running.pass_time(2 * 60, 5)
    assert running.alarms() == [("AlarmRaised", "probe_silent")]


def test_a_loop_that_stood_still_heard_nothing_and_asks_for_a_marker(
    running: Running, caplog: pytest.LogCaptureFixture
) -> None:
    running.line.bring(running.timed(25.0))
    running.rounds()
    running.now_us += 3600 * SECOND
    marks = running.line.marks
    running.rounds(3)
    assert running.line.marks == marks + 1
    running.line.bring(running.timed(25.0, running.now_us - 60 * SECOND), caught_up=1)
    running.pass_time(60)
    assert running.alarms() == []
    assert "nothing was done for" in caplog.text


def test_a_clock_set_back_is_told_for_what_follows_is_not_judged(
    running: Running, caplog: pytest.LogCaptureFixture
) -> None:
    running.line.bring(running.message("temperature", "25.0", packet_id=1))
    running.rounds()
    running.now_us -= 40 * SECOND
    running.line.bring(running.message("temperature", "28.0", packet_id=2))
    running.rounds(5)
    assert running.marks() == [Mark.ARRIVAL_TIME | Mark.LATE, Mark.ARRIVAL_TIME]
    assert caplog.text.count("the clock was set back by 40 s") == 1


# -- boards ---------------------------------------------------------------------------------------


def test_a_last_will_makes_a_board_offline_and_its_return_ends_that(running: Running) -> None:
    running.line.bring(running.timed(25.0))
    running.line.bring(running.message("sump/status", "offline"))
    running.rounds(3)
    assert [(one.name, one.is_online, one.since_us) for one in running.reader.boards()] == [
        ("sump", False, START_US)
    ]
    running.pass_time(50)
    assert running.alarms() == []
    running.pass_time(30)
    assert running.alarms() == [("AlarmRaised", "device_offline")]
    running.line.bring(running.message("sump/status", "online"))
    running.pass_time(10)
    assert running.alarms()[1] == ("AlarmReturned", "device_offline")


def test_a_board_that_went_offline_just_before_a_kill_is_still_told(running: Running) -> None:
    running.line.bring(running.timed(25.0))
    running.line.bring(running.message("sump/status", "offline"))
    running.rounds(3)
    again = running.again()
    again.be_live()
    again.pass_time(80)
    assert again.alarms() == [("AlarmRaised", "device_offline")]


def test_a_board_of_which_nothing_else_is_known_is_still_told_after_a_kill(running: Running) -> None:
    running.line.bring(running.message("sump/status", "offline"))
    running.rounds(3)
    again = running.again()
    again.be_live()
    again.pass_time(80)
    assert again.alarms() == [("AlarmRaised", "device_offline")]


def test_a_board_that_is_offline_at_the_first_start_is_told_even_after_a_kill(begin: Begin) -> None:
    running = begin()
    running.line.bring(running.message("sump/status", "offline", retained=True))
    running.rounds(3)
    again = running.again()
    again.be_live()
    again.pass_time(80)
    assert again.alarms() == [("AlarmRaised", "device_offline")]


def test_the_word_of_a_board_in_a_backlog_puts_off_no_silence(begin: Begin) -> None:
    """It has no time of its own: taken for now, it made the readings behind it look an hour slow."""
    running = begin()
    running.line.bring(running.message("sump/status", "online"))
    running.rounds()
    running.line.bring(running.timed(25.0, running.now_us - 50 * MINUTE))
    running.rounds()
    running.be_live()
    running.pass_time(16 * 60, 5)
    assert running.alarms() == [("AlarmRaised", "probe_silent")]


def test_a_board_that_was_away_only_in_a_backlog_is_not_told(begin: Begin) -> None:
    running = begin()
    running.line.bring(running.message("sump/status", "offline"))
    running.pass_time(90)
    running.line.bring(running.message("sump/status", "online"))
    running.rounds()
    running.be_live()
    running.pass_time(90)
    assert running.alarms() == []


# -- restart --------------------------------------------------------------------------------------


@pytest.mark.parametrize("killed_after", range(0, 40, 3))
def test_a_kill_at_any_instant_neither_loses_nor_doubles_an_alarm(begin: Begin, killed_after: int) -> None:
    """Two minutes beyond the limit, then well: one alarm, one return, wherever the kill falls."""
    running = begin()
    running.be_live()
    for number in range(40):
        if number == killed_after:
            running = running.again()
            running.be_live()
        running.line.bring(running.timed(28.0 if number < 20 else 25.0, packet_id=number + 1))
        running.pass_time(6, 6)
    running.pass_time(60)
    assert running.alarms() == [("AlarmRaised", "over_danger_line"), ("AlarmReturned", "over_danger_line")]
    assert [one.incident.ended_at_us is None for one in running.reader.incidents()] == [False]


def test_last_known_values_are_told_in_the_log(running: Running, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.INFO)
    running.line.bring(running.message("temperature", "25.5", retained=True))
    running.rounds()
    assert "last known" in caplog.text
