"""Retained messages, backlogs, outages, boards and restarts: what is heard, and what is told of it."""

from __future__ import annotations

import logging
from collections.abc import Callable

import pytest

from collector.readings import Mark
from collector.timekeeping import Trust
from rules import Flag
from tests.intake.parts import MINUTE, REDOX, SECOND, START_US, Running

Begin = Callable[..., Running]


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


@pytest.mark.parametrize(
    ("lead_s", "board_s", "is_own"),
    [
        (0, 0, True),
        (120, -120, True),
        (121, -121, False),
        (3600, -3600, False),
        (3600, -3720, False),
        (3600, -3721, True),
        (3600, 121, False),
    ],
)
def test_while_our_time_runs_ahead_what_a_board_says_of_now_gets_ours(
    running: Running, lead_s: int, board_s: int, is_own: bool
) -> None:
    """The time of the loop is `lead_s` before the machine's; the board's differs by `board_s` from it."""
    running.trust = Trust(lead_s * SECOND, lead_s > 2)
    running.line.bring(running.timed(28.0, running.now_us + board_s * SECOND))
    running.rounds()
    unknown = Mark.TIME_REPLACED | (Mark.TIME_UNKNOWN if lead_s > 2 else 0)
    assert running.marks() == [0 if is_own else unknown]
    assert running.stored()[0][0] == running.now_us + (board_s * SECOND if is_own else 0)


def test_while_nobody_knows_the_time_a_live_reading_is_flagged_and_judged(running: Running) -> None:
    running.trust = Trust(0, True)
    for number in range(8):
        running.line.bring(running.message("temperature", "28.0", packet_id=number + 1))
        running.pass_time(20)
    assert set(running.marks()) == {Mark.ARRIVAL_TIME | Mark.TIME_UNKNOWN}
    assert running.alarms() == [("AlarmRaised", "over_danger_line")]
    # A restart judges what was recorded the same way.
    again = running.again()
    again.be_live()
    assert again.alarms() == [("AlarmRaised", "over_danger_line")]


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


@pytest.mark.parametrize("has_board", [True, False], ids=["kept", "removed"])
def test_a_board_that_is_removed_from_the_configuration_while_it_is_away_is_missed_no_more(
    running: Running, has_board: bool
) -> None:
    running.line.bring(running.timed(25.0))
    running.line.bring(running.message("sump/status", "offline"))
    running.pass_time(80)
    assert running.alarms() == [("AlarmRaised", "device_offline")]
    running.now_us += 5 * MINUTE
    again = running.again(has_board=has_board)
    again.be_live()
    again.pass_time(80)
    ended_us = [one.incident.ended_at_us for one in again.reader.incidents()]
    if has_board:
        assert again.alarms() == [("AlarmRaised", "device_offline")]
        assert ended_us == [None]
    else:
        assert again.alarms() == [("AlarmRaised", "device_offline"), ("AlarmReturned", "device_offline")]
        # When it was last missed: at the start without it.
        assert ended_us == [running.now_us]


def test_a_board_that_is_removed_just_after_it_went_offline_is_not_told(running: Running) -> None:
    running.line.bring(running.timed(25.0))
    running.line.bring(running.message("sump/status", "offline"))
    running.rounds(3)
    again = running.again(has_board=False)
    again.be_live()
    again.pass_time(80)
    assert again.alarms() == []
