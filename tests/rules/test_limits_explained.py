"""A limit that is crossed is told together with the fault that explains it: one ring, and the right name."""

from __future__ import annotations

import numpy as np
import pytest

from rules import (
    HOUR_US,
    AlarmRaised,
    Block,
    Engine,
    EngineRules,
    IncidentOpened,
    IncidentUpdated,
    LimitAlarm,
    Priority,
    SeriesRules,
    TankRules,
)

MINUTE_US = HOUR_US // 60
BEGIN_US = 1_772_409_600_000_000
SALINITY = "practical_salinity"
FAILS_MIN = 30 * 60


def salinity_limit(priority: Priority, *, is_danger: bool) -> LimitAlarm:
    return LimitAlarm(30.0, False, is_danger, 0.5, 5 * MINUTE_US, 10 * MINUTE_US, priority)


def told(values: np.ndarray, alarm: LimitAlarm, quantity: str = SALINITY):
    series = (SeriesRules("reef", quantity, quantity, limit_alarms=(alarm,)),)
    engine = Engine(EngineRules((TankRules("reef", "UTC", 400.0, frozenset(), {}),), series))
    times = BEGIN_US + np.arange(len(values)) * MINUTE_US
    rng = np.random.RandomState(5)
    shown = values + 0.02 * rng.standard_normal(len(values))
    outcome = engine.advance(Block(times.astype(np.int64), shown, np.zeros(len(values), np.int64)))
    return outcome.events


def in_air() -> np.ndarray:
    """35 for thirty hours, then next to nothing, as a cell shows in air."""
    values = np.full(FAILS_MIN + 60, 35.0)
    values[FAILS_MIN:] = 0.1
    return values


@pytest.mark.parametrize(
    ("priority", "is_danger"),
    [(Priority.HIGH, False), (Priority.URGENT, True)],
    ids=["limit", "danger line"],
)
def test_a_probe_in_air_is_named_at_the_first_ring_and_wakes_nobody(priority, is_danger):
    events = told(in_air(), salinity_limit(priority, is_danger=is_danger))
    opened = next(event for event in events if isinstance(event, IncidentOpened))
    assert opened.incident.cause == "probe_dry"
    assert opened.incident.priority is Priority.HIGH
    # The limit's own five minutes have passed, and no more.
    assert opened.at_us <= BEGIN_US + (FAILS_MIN + 11) * MINUTE_US
    crossed = next(
        event for event in events if isinstance(event, AlarmRaised) and "under" in event.alarm.cause
    )
    assert crossed.priority is Priority.HIGH
    assert not any(isinstance(event, IncidentUpdated) and event.worsened for event in events)


def test_a_danger_line_without_an_explanation_keeps_its_priority_and_its_name():
    """Water that is diluted over hours is no probe in air."""
    values = np.full(FAILS_MIN + 8 * 60, 35.0)
    values[FAILS_MIN:] -= np.arange(8 * 60) / 60.0
    events = told(values, salinity_limit(Priority.URGENT, is_danger=True))
    raised = [event for event in events if isinstance(event, AlarmRaised)]
    crossed = next(event for event in raised if event.alarm.cause == "under_danger_line")
    assert crossed.priority is Priority.URGENT
    assert "probe_dry" not in [event.alarm.cause for event in raised]


def test_a_low_limit_does_not_let_a_more_urgent_fault_speak_sooner():
    early = told(in_air(), salinity_limit(Priority.LOW, is_danger=False))
    opened = next(event for event in early if isinstance(event, IncidentOpened))
    assert opened.incident.cause == "under_limit"
    # What it may be is said all the same.
    assert [rival.cause for rival in opened.incident.evidence.rivals] == ["probe_dry"]
