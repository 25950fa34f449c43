"""Whom a replay rings: the same turns, nights and answers as live, and nothing is sent."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from collector.recordings import Recording
from collector.recurrence import RecurringWork
from collector.replay import Replay, Ring
from collector.telling import Person
from rules import HOUR_US, Priority
from tests.intake.parts import MINUTE, SECOND, configuration

DAY_US = 24 * HOUR_US
NOON_US = 1_790_000_000 * SECOND // DAY_US * DAY_US + 12 * HOUR_US
CHANNELS = dict.fromkeys(Priority, ("phone",))
SAM = Person("sam", CHANNELS)
KIM = Person("kim", CHANNELS, rings_at_night=frozenset(Priority))


def rings(
    folder,
    values,
    *,
    people=(SAM,),
    answered_after_us=None,
    works=(),
    priority=Priority.URGENT,
    is_danger=True,
    start_us=NOON_US,
):
    one = configuration(folder)
    limits = tuple(
        replace(limit, priority=priority, is_danger=is_danger) for limit in one.engine.series[0].limit_alarms
    )
    series = (replace(one.engine.series[0], limit_alarms=limits), one.engine.series[1])
    one = replace(one, engine=replace(one.engine, series=series))
    times_us = start_us + np.arange(len(values)) * MINUTE
    recording = Recording(times_us, np.array(values, float), np.zeros(len(values), np.int64))
    return Replay(one, people, answered_after_us).recording(recording, works).rings


def told(found: tuple[Ring, ...]) -> list[tuple[str, str, float]]:
    return [(one.person, one.kind, (one.at_us - found[0].at_us) / MINUTE) for one in found]


def test_who_answers_is_rung_once(tmp_path):
    found = rings(tmp_path, [25.0] * 5 + [28.0] * 60 + [25.0] * 60, answered_after_us=3 * MINUTE)
    assert [(one.person, one.kind) for one in found] == [("sam", "opened"), ("sam", "ended")]
    assert [one.is_quiet for one in found] == [False, True]
    assert not found[0].is_night


def test_who_does_not_is_rung_again_and_then_the_next_one(tmp_path):
    found = rings(tmp_path, [25.0] * 5 + [28.0] * 28, people=(SAM, KIM))
    assert told(found) == [
        ("sam", "opened", 0),
        ("sam", "again", 5),
        ("sam", "again", 10),
        ("kim", "next", 15),
        ("kim", "again", 20),
        ("kim", "again", 25),
    ]


def test_at_night_what_is_no_urgent_waits_for_the_morning(tmp_path):
    values = [25.0] * 5 + [28.0] * 12 * 60
    (found, *_) = rings(tmp_path, values, priority=Priority.HIGH, start_us=NOON_US + 12 * HOUR_US)
    assert (found.at_us - NOON_US) % DAY_US == 19 * HOUR_US
    (found, *_) = rings(tmp_path, values, start_us=NOON_US + 12 * HOUR_US)
    assert found.is_night


def test_what_waits_at_the_end_of_a_recording_is_rung_once_in_the_morning_behind_it(tmp_path):
    """It begins at midnight and the recording ends at one: the morning comes all the same."""
    values = [25.0] * 5 + [28.0] * 55
    found = rings(tmp_path, values, priority=Priority.HIGH, start_us=NOON_US + 12 * HOUR_US)
    assert [(one.person, one.kind) for one in found] == [("sam", "opened")]
    assert (found[0].at_us - NOON_US) % DAY_US == 19 * HOUR_US


def test_planned_work_keeps_limits_quiet_and_danger_lines_live(tmp_path):
    values = [25.0] * 30 + [28.0] * 20 + [25.0] * 200
    starts = datetime.fromtimestamp(NOON_US / 1e6 + 25 * 60, UTC).replace(tzinfo=None)
    works = [RecurringWork("reef", "water_change", "UTC", starts, 30 * MINUTE, "")]
    assert [one.kind for one in rings(tmp_path, values, is_danger=False)][:1] == ["opened"]
    assert rings(tmp_path, values, works=works, is_danger=False) == ()
    assert [one.kind for one in rings(tmp_path, values, works=works)][:1] == ["opened"]


def test_without_anybody_somebody_stands_in(tmp_path):
    (found, *_) = rings(tmp_path, [25.0] * 5 + [28.0] * 10, people=())
    assert found.person == "whoever is on duty"


@pytest.mark.parametrize("count", [0, 1])
def test_hardly_any_readings_ring_nobody(tmp_path, count):
    assert rings(tmp_path, [25.0] * count) == ()
