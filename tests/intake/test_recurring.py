"""Recurring work in the running loop: planned by itself, quiet while it goes on, once over restarts."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from collector.clock import Clock
from collector.intake import Asking
from collector.recurrence import RecurringWork
from collector.requests import Plan
from rules import HOUR_US
from tests.intake.conftest import Begin
from tests.intake.parts import MINUTE, Running


def asking_of(running: Running, recurring: RecurringWork) -> Asking:
    """As the service wires it."""
    reader = running.reader
    since_us = running.now_us - 48 * HOUR_US
    plan = Plan(reader.known_works(), ["reef"], [recurring], reader.once_known_works(since_us))
    clock = Clock(wall=lambda: running.now_us)
    return Asking(
        reader, running.intake, plan, running.answering, clock, monotonic=lambda: running.now_us / 1e6
    )


def cleaning_in(running: Running, minutes: int) -> RecurringWork:
    begins = datetime.fromtimestamp(running.now_us / 1e6, UTC).replace(tzinfo=None)
    starts = begins + timedelta(minutes=minutes) - timedelta(days=7)
    return RecurringWork("reef", "probe_cleaning", "UTC", starts, 30 * MINUTE, "FREQ=WEEKLY")


def read_for(running: Running, asking: Asking, minutes: int, value: str) -> None:
    for _ in range(3 * minutes):
        running.now_us += MINUTE // 3
        running.line.bring(running.message("temperature", value))
        asking.turn()
        running.rounds()


def test_nothing_rings_of_work_that_recurs(running: Running) -> None:
    asking = asking_of(running, cleaning_in(running, 10))
    read_for(running, asking, 10, "25")
    read_for(running, asking, 20, "99")
    assert running.alarms() == []
    assert [one.alarm.cause for one in running.judge.engine.suppressed] == ["probe_out_of_range"]


def test_without_it_the_same_rings(running: Running) -> None:
    asking = asking_of(running, cleaning_in(running, 3 * 24 * 60))
    read_for(running, asking, 10, "25")
    read_for(running, asking, 20, "99")
    assert ("AlarmRaised", "probe_out_of_range") in running.alarms()


def test_each_occurrence_is_planned_once_over_restarts(begin: Begin) -> None:
    running = begin()
    running.be_live()
    recurring = cleaning_in(running, 10)
    asking_of(running, recurring).turn()
    running.rounds()
    planned = running.reader.known_works()
    assert [(one.to_us - one.from_us) // MINUTE for one in planned] == [30]
    again = running.again()
    asking_of(again, recurring).turn()
    again.rounds()
    assert again.reader.known_works() == planned
    assert again.reader.once_known_works(0) == planned
    again.intake.plan_work([])
    again.rounds()
    # Cancelled, it does not come back.
    last = again.again()
    asking_of(last, recurring).turn()
    last.rounds()
    assert last.reader.known_works() == ()


def test_what_was_due_while_the_service_was_away_counts_for_the_backlog(begin: Begin) -> None:
    running = begin()
    running.be_live()
    recurring = cleaning_in(running, 60)
    again = running.again()
    again.now_us += 80 * MINUTE
    asking_of(again, recurring).turn()
    again.intake.begin()
    times_us = [again.now_us - (18 - minute) * MINUTE for minute in range(15)]
    again.line.bring(*(again.timed(99.0, time_us) for time_us in times_us), caught_up=15)
    again.rounds()
    assert again.alarms() == []
    assert len(again.stored()) == 15
