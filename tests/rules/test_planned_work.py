"""Planned work: what is suppressed by design, what stays live, and what is made of the level behind it."""

from __future__ import annotations

import numpy as np
import pytest

from rules import (
    CAUSES,
    HOUR_US,
    KINDS,
    QUANTITIES,
    TWO_STATE,
    AlarmKey,
    AlarmRaised,
    AlarmReturned,
    Block,
    Engine,
    EngineRules,
    FlatLineLimits,
    GapLimits,
    LimitAlarm,
    PlannedWork,
    Priority,
    RateAlarm,
    RateOfChangeLimits,
    SeriesRules,
    SpikeLimits,
    TankRules,
    WeekProfile,
    unpack,
)
from rules.flags import Flag
from rules.planned_work import DISTURBED_TESTS, NEVER_SUPPRESSED
from rules.quality.packed import TESTS
from tests.strategies import MINUTE, START_US, limit

SECOND = 1_000_000
DAY_US = 24 * HOUR_US
# Aligned to steps, so that the tests can name them.
BEGIN_US = START_US // HOUR_US * HOUR_US


def work(kind="water_change", from_min=60, to_min=120, tank="reef") -> PlannedWork:
    return PlannedWork(tank, kind, BEGIN_US + from_min * MINUTE, BEGIN_US + to_min * MINUTE)


# -- the table and its values ------------------------------------------------------------------------


def test_a_kind_that_is_not_known_is_refused_with_those_that_are():
    with pytest.raises(ValueError, match=r"'siesta' is not known: one of feeding_pause, water_change"):
        PlannedWork("reef", "siesta", 0, 1)


@pytest.mark.parametrize(("to_us", "is_right"), [(99, False), (100, False), (101, True)])
def test_work_ends_behind_its_beginning(to_us, is_right):
    if is_right:
        assert PlannedWork("reef", "calibration", 100, to_us).to_us == to_us
    else:
        with pytest.raises(ValueError, match="ends before it begins"):
            PlannedWork("reef", "calibration", 100, to_us)


@pytest.mark.parametrize(("over_us", "is_right"), [(-1, True), (0, True), (1, False)])
def test_work_lasts_a_day_at_most(over_us, is_right):
    if is_right:
        assert PlannedWork("reef", "water_change", 0, DAY_US + over_us)
    else:
        with pytest.raises(ValueError, match="24 h at most"):
            PlannedWork("reef", "water_change", 0, DAY_US + over_us)


@pytest.mark.parametrize("kind", KINDS.values(), ids=KINDS)
def test_a_kind_suppresses_known_causes_and_no_danger(kind):
    assert kind.causes <= set(CAUSES)
    assert kind.quantities <= set(QUANTITIES)
    assert kind.causes.isdisjoint(NEVER_SUPPRESSED)
    # A float switch or leak contact is believed whatever is worked on.
    assert "contact" not in kind.quantities
    assert kind.settle_us > 0
    assert kind.meaning


def test_what_is_never_suppressed_and_the_disturbed_tests_exist():
    assert set(CAUSES) >= NEVER_SUPPRESSED
    assert set(TESTS) >= set(DISTURBED_TESTS)
    assert "contact" in TWO_STATE


# -- limits ------------------------------------------------------------------------------------------


def engine_of(*alarms: LimitAlarm, quantity="temperature", baselines=None, **limits) -> Engine:
    series = SeriesRules("reef", quantity, quantity, limit_alarms=alarms, **limits)
    tank = TankRules("reef", equipment=frozenset({"heater"}))
    return Engine(EngineRules((tank,), (series,)), baselines)


def readings(values, *, every=MINUTE, start_us=BEGIN_US) -> Block:
    times_us = start_us + np.arange(len(values)) * every
    return Block(times_us.astype(np.int64), np.array(values, float), np.zeros(len(values), np.int64))


def raised(events) -> list[tuple[str, int]]:
    """Cause of each alarm that was raised, and the minute of it."""
    return [
        (event.alarm.cause, (event.at_us - BEGIN_US) // MINUTE)
        for event in events
        if isinstance(event, AlarmRaised)
    ]


def returned(events) -> list[tuple[str, int]]:
    return [
        (event.alarm.cause, (event.at_us - BEGIN_US) // MINUTE)
        for event in events
        if isinstance(event, AlarmReturned)
    ]


def test_a_limit_crossed_and_left_during_work_does_not_ring_and_is_counted():
    engine = engine_of(limit(26.0, is_high=True))
    engine.plan_work([work()])
    values = np.full(400, 25.0)
    values[70:110] = 27.0
    assert engine.advance(readings(values)).events == ()
    (hidden,) = engine.suppressed
    assert hidden.alarm == AlarmKey("reef", "temperature", "over_limit")
    assert hidden.first_us == BEGIN_US + 70 * MINUTE
    engine.plan_work([])
    assert engine.suppressed == ()


@pytest.mark.parametrize(("end_min", "to_min"), [(120, 180), (95, 155), (200, 260)])
def test_until_when_an_alarm_is_suppressed_follows_the_end_of_the_work(end_min, to_min):
    engine = engine_of(limit(26.0, is_high=True))
    engine.plan_work([work()])
    values = np.full(101, 25.0)
    values[70:] = 27.0
    engine.advance(readings(values))
    engine.plan_work([work(to_min=end_min)])
    (hidden,) = engine.suppressed
    seen_min = [(us - BEGIN_US) // MINUTE for us in (hidden.first_us, hidden.last_us, hidden.to_us)]
    assert seen_min == [70, 100, to_min]


@pytest.mark.parametrize(
    ("back_at_min", "rings"), [(179, False), (180, False), (182, False), (183, True)], ids=str
)
def test_a_limit_still_crossed_when_the_water_has_settled_rings_after_its_on_delay(back_at_min, rings):
    """The work ends at minute 120 and settles for 60; the on-delay is 2 minutes."""
    engine = engine_of(limit(26.0, is_high=True))
    engine.plan_work([work()])
    values = np.full(400, 25.0)
    values[70:back_at_min] = 27.0
    events = engine.advance(readings(values)).events
    assert raised(events) == ([("over_limit", 182)] if rings else [])


@pytest.mark.parametrize("first_min", [57, 58, 59])
def test_a_delay_that_reaches_work_is_void_and_one_fulfilled_before_is_not(first_min):
    engine = engine_of(limit(26.0, is_high=True))
    engine.plan_work([work()])
    values = np.full(170, 25.0)
    values[first_min:] = 27.0
    events = engine.advance(readings(values)).events
    assert raised(events) == ([("over_limit", first_min + 2)] if first_min + 2 < 60 else [])


def test_an_alarm_from_before_does_not_end_during_work():
    engine = engine_of(limit(26.0, is_high=True))
    engine.plan_work([work()])
    values = np.full(400, 25.0)
    values[20:70] = 27.0
    events = engine.advance(readings(values)).events
    assert raised(events) == [("over_limit", 22)]
    assert returned(events) == [("over_limit", 182)]


def test_work_on_another_tank_or_on_what_it_does_not_disturb_suppresses_nothing():
    for one in (work(tank="nursery"), work("feeding_pause"), work("dosing_pause")):
        engine = engine_of(limit(26.0, is_high=True))
        engine.plan_work([one])
        values = np.full(200, 25.0)
        values[70:100] = 27.0
        assert raised(engine.advance(readings(values)).events) == [("over_limit", 72)]


def test_a_danger_line_and_a_contact_ring_during_work_exactly_as_without():
    for kind in KINDS:
        told = []
        for works in ([], [work(kind)]):
            engine = engine_of(limit(26.0, is_high=True, is_danger=True))
            engine.plan_work(works)
            values = 25.0 + np.maximum(0.0, np.arange(175) - 60) * 0.05
            told.append(engine.advance(readings(values)).events)
        assert raised(told[0]) == [("over_danger_line", 83)]
        assert told[0] == told[1]
        alarm = LimitAlarm(0.5, True, True, 0.0, 30 * SECOND, 0, Priority.URGENT)
        engine = engine_of(alarm, quantity="contact")
        engine.plan_work([work(kind)])
        events = engine.advance(readings(np.arange(175) >= 90)).events
        assert raised(events) == [("contact_alarm", 90)]


def danger_of_ph(works, out, *, count=400):
    """What a pH probe in a buffer of 7 between two minutes tells, with an on-delay of one minute."""
    engine = engine_of(LimitAlarm(7.4, False, True, 0.05, MINUTE, MINUTE, Priority.URGENT), quantity="ph")
    engine.plan_work(works)
    values = np.full(count, 8.1)
    values[slice(*out)] = 7.0
    return raised(engine.advance(readings(values)).events)


@pytest.mark.parametrize("kind", ["calibration", "probe_cleaning"])
def test_a_danger_line_tells_nothing_of_a_probe_that_is_itself_out_of_the_water(kind):
    assert danger_of_ph([], (70, 100)) == [("under_danger_line", 71)]
    assert danger_of_ph([work(kind)], (70, 100)) == []
    # Not put back ten minutes after the end that was told: now somebody must look.
    assert danger_of_ph([work(kind)], (70, 140)) == [("under_danger_line", 131)]
    assert danger_of_ph([work("water_change")], (70, 100)) == [("under_danger_line", 71)]


def test_a_probe_is_taken_for_out_of_the_water_for_two_hours_at_most():
    assert danger_of_ph([work("calibration", 60, 360)], (70, 300)) == [("under_danger_line", 181)]


def test_temperature_and_level_ring_at_their_danger_lines_whatever_is_announced():
    for kind in KINDS.values():
        assert kind.taken_out.isdisjoint({"temperature", "water_level", "volume", "contact"})
        assert kind.taken_out <= kind.quantities


def test_a_rate_is_not_told_of_work_but_of_what_goes_on_behind_it():
    rate = RateAlarm(1.0, HOUR_US, 10 * MINUTE, 10 * MINUTE, Priority.LOW)
    step = np.full(600, 25.0)
    step[80:] = 23.0
    engine = engine_of(rate_alarm=rate)
    assert raised(engine.advance(readings(step)).events) != []
    engine = engine_of(rate_alarm=rate)
    engine.plan_work([work()])
    assert engine.advance(readings(step)).events == ()
    assert [one.alarm.cause for one in engine.suppressed] == ["changing_fast"]
    engine = engine_of(rate_alarm=rate)
    engine.plan_work([work()])
    falling = 25.0 - 0.04 * np.maximum(0.0, np.arange(600) - 60)
    ((cause, minute),) = raised(engine.advance(readings(falling)).events)
    assert cause == "changing_fast"
    # Its window must hold enough of the time behind the settle time.
    assert 190 <= minute <= 250


# -- silence, probes and flags -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "minute"), [("probe_cleaning", 150), ("feeding_pause", 85)], ids=["suppressed", "live"]
)
def test_silence_that_lasts_is_told_when_the_cleaning_is_over(kind, minute):
    engine = engine_of(gap=GapLimits(15 * MINUTE))
    engine.plan_work([work(kind)])
    engine.advance(readings(np.full(71, 25.0)))
    assert raised(engine.advance_to(BEGIN_US + 84 * MINUTE)) == []
    assert raised(engine.advance_to(BEGIN_US + 300 * MINUTE)) == [("probe_silent", minute)]


def test_a_probe_that_is_back_before_the_cleaning_is_over_was_not_silent():
    engine = engine_of(gap=GapLimits(15 * MINUTE))
    engine.plan_work([work("probe_cleaning")])
    engine.advance(readings(np.full(71, 25.0)))
    engine.advance_to(BEGIN_US + 100 * MINUTE)
    assert [one.alarm.cause for one in engine.suppressed] == ["probe_silent"]
    back = readings(np.full(100, 25.0), start_us=BEGIN_US + 130 * MINUTE)
    assert engine.advance(back).events == ()
    assert engine.suppressed == ()


def test_tests_that_ask_how_water_moves_are_not_evaluated_during_work():
    limits = {
        "spike": SpikeLimits(0.5, 2.0),
        "rate_of_change": RateOfChangeLimits(5.0),
        "flat_line": FlatLineLimits(0.001, 20 * MINUTE, 40 * MINUTE),
    }
    values = 25.0 + 0.01 * (np.arange(200) % 2)
    values[90], values[100:170] = 28.0, 24.0
    plain, planned = engine_of(**limits), engine_of(**limits)
    planned.plan_work([work()])
    outcome, kept = plain.advance(readings(values)), planned.advance(readings(values))
    assert outcome.primary[90] == Flag.FAIL
    assert outcome.primary[165] == Flag.FAIL
    for minute in range(60, 180):
        assert kept.primary[minute] == Flag.NOT_EVALUATED
        assert unpack(kept.tests[minute]) == dict.fromkeys(limits, Flag.NOT_EVALUATED)
    for minute in (*range(60), *range(180, 200)):
        assert (kept.primary[minute], kept.tests[minute]) == (outcome.primary[minute], outcome.tests[minute])
    # Flat from minute 100, so stuck at 140, which the next step tells.
    assert raised(outcome.events) == [("probe_stuck", 145)]
    assert kept.events == ()


# -- faults, and the level behind the work -----------------------------------------------------------

BAND = WeekProfile("UTC", ((25.0,) * 96,), (0.3,) * 96, 1.0, "level", 0.0, 28)
WORK_MIN = 26 * 60


def water(hours: float, *, heats_from: float, drop: float = 1.5) -> np.ndarray:
    """Minutes of a tank at 25 degC whose water is changed for cooler at hour 26.

    Its own heat loss is 0.35 degC/h; from `heats_from` hours on the heater works, at 0.6 degC/h net.
    """
    values = np.empty(round(hours * 60))
    level = 25.0
    for minute in range(len(values)):
        if minute == WORK_MIN + 20:
            level -= drop
        if minute > WORK_MIN + 20:
            is_heating = minute >= heats_from * 60 and level < 25.0
            level += 0.01 if is_heating else (-0.35 / 60 if minute < heats_from * 60 else 0.0)
        values[minute] = level + 0.01 * ((minute * 7919) % 5 - 2)
    return values


def change_engine(*works: PlannedWork) -> Engine:
    engine = engine_of(limit(24.5, is_high=False), baselines={0: BAND})
    engine.plan_work(works)
    return engine


def test_a_water_change_whose_heater_works_afterwards_does_not_ring():
    planned = work(from_min=WORK_MIN, to_min=WORK_MIN + 60)
    # Without the word of the keeper its low limit rings.
    values = water(60, heats_from=26.5, drop=1.0)
    assert ("under_limit", WORK_MIN + 22) in raised(change_engine().advance(readings(values)).events)
    engine = change_engine(planned)
    assert engine.advance(readings(values)).events == ()
    assert "under_limit" in [one.alarm.cause for one in engine.suppressed]


def test_a_heater_left_unplugged_after_a_water_change_rings():
    """The offset of the new level is granted; what goes on falling is not."""
    planned = work(from_min=WORK_MIN, to_min=WORK_MIN + 60)
    engine = engine_of(baselines={0: BAND})
    engine.plan_work([planned])
    events = engine.advance(readings(water(36, heats_from=99.0, drop=0.5))).events
    ((cause, minute), *_) = raised(events)
    assert cause == "heater_failed_off"
    # Settled after 120 minutes; the slope of an hour and the on-delay follow.
    assert WORK_MIN + 120 < minute <= WORK_MIN + 120 + 110


def test_a_heater_that_sticks_during_a_water_change_rings_exactly_as_without_the_word_of_it():
    told = []
    for works in ([], [work(from_min=WORK_MIN, to_min=WORK_MIN + 60)]):
        engine = engine_of(baselines={0: BAND})
        engine.plan_work(works)
        minutes = np.arange(36 * 60)
        values = 25.0 + np.maximum(0, minutes - WORK_MIN) * 0.4 / 60 + 0.01 * ((minutes * 7919) % 5 - 2)
        told.append(engine.advance(readings(values)).events)
    assert [cause for cause, _ in raised(told[0])] == ["heater_stuck_on"]
    assert raised(told[0])[0][1] < WORK_MIN + 150
    assert told[1] == told[0]


def test_the_usual_band_is_widened_by_the_offset_and_narrows_again_within_a_day():
    """Alarms tell the band: 0.5 degC too low as the water settles, half of that granted 12 h later."""
    planned = work(from_min=WORK_MIN, to_min=WORK_MIN + 60)
    widths = []
    for hours in (12, 25):
        engine = engine_of(baselines={0: BAND})
        engine.plan_work([planned])
        fails_min = WORK_MIN + 120 + hours * 60
        minutes = np.arange(fails_min + 400)
        values = np.where(minutes < WORK_MIN + 20, 25.0, 24.2)
        values = values - np.maximum(0, minutes - fails_min) * 0.4 / 60
        events = engine.advance(readings(values + 0.01 * ((minutes * 7919) % 5 - 2))).events
        first = next(event for event in events if isinstance(event, AlarmRaised))
        assert first.alarm.cause == "heater_failed_off"
        after_h = (first.at_us - planned.settled_us) / HOUR_US
        widths.append((after_h, 24.7 - first.evidence.expected_low))
        assert first.evidence.expected_high == 25.3
    (after_h, width), (_, last) = widths
    assert width == pytest.approx(0.5 * (1 - after_h / 24), abs=0.03)
    assert last == 0.0


def test_a_window_over_quiet_water_changes_nothing_a_day_after_its_settle_time():
    planned = work(from_min=WORK_MIN, to_min=WORK_MIN + 60)
    fails_min = (planned.forgotten_us - BEGIN_US) // MINUTE
    minutes = np.arange(fails_min + 300)
    values = 25.0 + 0.01 * ((minutes * 7919) % 5 - 2) - np.maximum(0, minutes - fails_min) * 0.4 / 60
    told = []
    for works in ([], [planned]):
        engine = engine_of(limit(24.0, is_high=False), baselines={0: BAND})
        engine.plan_work(works)
        told.append(engine.advance(readings(values)).events)
    assert [cause for cause, _ in raised(told[0])][:1] == ["heater_failed_off"]
    assert told[1] == told[0]


@pytest.mark.parametrize("kind", KINDS)
def test_a_wet_floor_rings_as_a_leak_during_any_work_exactly_as_without(kind):
    rules = EngineRules((TankRules("reef"),), (SeriesRules("reef", "floor_contact", "contact"),))
    told = []
    for works in ([], [work(kind)]):
        engine = Engine(rules)
        engine.plan_work(works)
        told.append(engine.advance(readings(np.arange(175) >= 90)).events)
    assert raised(told[0]) == [("leak", 90)]
    assert told[1] == told[0]
