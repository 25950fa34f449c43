"""A wet floor contact is a leak at once, whoever configured it and whatever else goes on."""

from __future__ import annotations

from dataclasses import replace

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
    PlannedWork,
    Priority,
    SeriesRules,
    Sign,
    TankRules,
)
from rules.floor_contact import is_wet, with_floor_contacts

START_US = 1_772_409_600_000_000  # 2026-03-02T00:00:00Z, a Monday
SECOND_US = 1_000_000
OPEN_RINGS = LimitAlarm(0.5, False, False, 0.0, 0, 0, Priority.HIGH)
CONTACT = SeriesRules("reef", "floor_contact", "contact")


def rules_of(*series: SeriesRules, roles: dict[str, str] | None = None) -> EngineRules:
    return EngineRules((TankRules("reef", volume_litres=400.0, roles=roles or {}),), series)


def block(times_us: list[int], values: list[float], series: list[int] | None = None) -> Block:
    where = np.zeros(len(times_us), np.int64) if series is None else np.array(series)
    return Block(np.array(times_us, np.int64), np.array(values, float), where)


def test_a_contact_that_closes_rings_with_its_reading():
    engine = Engine(rules_of(CONTACT))
    assert engine.advance(block([START_US], [0.0])).events == ()
    at_us = START_US + 17 * SECOND_US
    # What is said waits for no step, only for the allowance of boards that publish a little apart.
    events = engine.advance(block([at_us, at_us + 6 * SECOND_US], [1.0, 1.0])).events
    (raised,) = (event for event in events if isinstance(event, AlarmRaised))
    assert (raised.alarm.cause, raised.alarm.series) == ("leak", "floor_contact")
    assert (raised.at_us, raised.priority) == (at_us, Priority.URGENT)
    assert raised.evidence.reasons[0].sign is Sign.CONTACT
    assert raised.evidence.reasons[0].value == 1.0
    (opened,) = (event for event in events if isinstance(event, IncidentOpened))
    assert opened.incident.cause == "leak"


def test_a_contact_that_posts_on_change_alone_rings_by_the_clock():
    engine = Engine(rules_of(CONTACT))
    events = (*engine.advance(block([START_US], [1.0])).events, *engine.advance_to(START_US + 6 * SECOND_US))
    assert [event.alarm.cause for event in events if isinstance(event, AlarmRaised)] == ["leak"]


def test_a_contact_of_another_name_has_the_role_that_it_is_given():
    other = replace(CONTACT, name="under_the_stand")
    engine = Engine(rules_of(other, roles={"floor_contact": "under_the_stand"}))
    events = (*engine.advance(block([START_US], [1.0])).events, *engine.advance_to(START_US + 6 * SECOND_US))
    assert [event.alarm.cause for event in events if isinstance(event, AlarmRaised)] == ["leak"]


def test_a_float_switch_is_no_floor():
    switch = replace(CONTACT, name="float", limit_alarms=(replace(OPEN_RINGS, is_high=True),))
    assert with_floor_contacts(rules_of(switch)) == (switch,)


@pytest.mark.parametrize(("state", "is_dry"), [(0.0, False), (1.0, True)])
def test_the_state_that_rings_is_the_configured_one(state, is_dry):
    (series,) = with_floor_contacts(rules_of(replace(CONTACT, limit_alarms=(OPEN_RINGS,))))
    assert is_wet(series, state) is not is_dry
    (alarm,) = series.limit_alarms
    assert (alarm.is_high, alarm.cause, alarm.priority) == (False, "leak", Priority.URGENT)


def test_closed_rings_where_nothing_is_configured():
    (series,) = with_floor_contacts(rules_of(CONTACT))
    assert is_wet(series, 1.0)
    assert not is_wet(series, 0.0)


def test_a_wet_floor_rings_during_a_water_change():
    engine = Engine(rules_of(CONTACT))
    engine.plan_work([PlannedWork("reef", "water_change", START_US, START_US + HOUR_US)])
    events = engine.advance(block([START_US + HOUR_US // 2], [1.0])).events
    events += engine.advance_to(START_US + HOUR_US // 2 + 6 * SECOND_US)
    assert [event.alarm.cause for event in events if isinstance(event, AlarmRaised)] == ["leak"]


def test_a_contact_that_closes_and_stays_closed_rings_once():
    level = SeriesRules("reef", "sump_level", "water_level")
    engine = Engine(rules_of(CONTACT, level))
    events = []
    for minute in range(180):
        at_us = START_US + minute * 60 * SECOND_US
        wet = 1.0 if minute >= 60 else 0.0
        events += engine.advance(block([at_us, at_us + SECOND_US], [wet, 20.0], [0, 1])).events
    opened = [event for event in events if isinstance(event, IncidentOpened)]
    assert len(opened) == 1
    assert not [event for event in events if isinstance(event, IncidentUpdated) and event.worsened]
