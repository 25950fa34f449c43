"""Planned work in the loop: committed like every input of the engine, and known again after a kill."""

from __future__ import annotations

from rules import PlannedWork
from tests.intake.conftest import Begin
from tests.intake.parts import MINUTE, Running


def cleaning(running: Running, minutes: int) -> PlannedWork:
    return PlannedWork("reef", "probe_cleaning", running.now_us, running.now_us + minutes * MINUTE)


def read_for(running: Running, minutes: int, value: str) -> None:
    """A reading every 20 s: a loop that stands still for longer has heard nothing meanwhile."""
    for _ in range(3 * minutes):
        running.now_us += MINUTE // 3
        running.line.bring(running.message("temperature", value))
        running.rounds()


def test_work_is_committed_at_once_and_suppresses_what_it_disturbs(running: Running) -> None:
    work = cleaning(running, 30)
    running.intake.plan_work([work])
    running.rounds()
    assert running.reader.known_works() == (work,)
    # 99 degC is more than the sensor can give, as of a probe whose plug is pulled.
    read_for(running, 10, "99")
    assert running.alarms() == []
    assert [one.alarm.cause for one in running.judge.engine.suppressed] == ["probe_out_of_range"]


def test_the_same_readings_ring_without_a_word_of_the_keeper(running: Running) -> None:
    read_for(running, 10, "99")
    assert running.alarms() == [("AlarmRaised", "probe_out_of_range")]


def test_a_kill_in_the_middle_of_work_changes_nothing_of_it(begin: Begin) -> None:
    running = begin()
    running.be_live()
    work = cleaning(running, 30)
    running.intake.plan_work([work])
    running.rounds()
    read_for(running, 10, "99")
    again = running.again()
    again.be_live()
    read_for(again, 45, "99")
    assert again.alarms() == []
    # Settled after 60 minutes, and impossible readings ring after two.
    assert again.now_us == work.settled_us - 5 * MINUTE
    read_for(again, 9, "99")
    (raised,) = again.reader.alarm_events(0, 2**62)
    assert (raised.alarm.cause, raised.at_us) == ("probe_out_of_range", work.settled_us + 2 * MINUTE)


def test_works_that_are_withdrawn_suppress_nothing_any_more(running: Running) -> None:
    running.intake.plan_work([cleaning(running, 30)])
    running.rounds()
    read_for(running, 5, "99")
    running.intake.plan_work([])
    running.rounds()
    read_for(running, 5, "99")
    assert running.alarms() == [("AlarmRaised", "probe_out_of_range")]


def test_work_told_in_a_backlog_counts_for_what_is_in_it(begin: Begin) -> None:
    running = begin()
    work = PlannedWork("reef", "probe_cleaning", running.now_us - 20 * MINUTE, running.now_us)
    running.intake.plan_work([work])
    running.rounds()
    times_us = [work.from_us + minute * MINUTE for minute in range(15)]
    running.line.bring(*(running.timed(99.0, time_us) for time_us in times_us), caught_up=15)
    running.rounds()
    assert running.alarms() == []
