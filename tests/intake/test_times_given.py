"""The time of a reading: its own, its arrival, and the same again when it is redelivered."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from collector.intake.sorting import FUTURE_LIMIT_US, PAST_LIMIT_US
from collector.readings import Mark
from rules import Flag
from tests.intake.parts import MINUTE, REDOX, SECOND, START_US, Running

Begin = Callable[..., Running]


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
