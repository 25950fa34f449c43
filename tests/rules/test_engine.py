"""The engine as a whole: the laws that hold for every stream, and what it says of simple stories."""

from __future__ import annotations

import copy
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules import (
    HOUR_US,
    AlarmKey,
    AlarmRaised,
    AlarmReturned,
    Block,
    Engine,
    EngineRules,
    FlatLineLimits,
    GapLimits,
    IncidentEnded,
    IncidentOpened,
    LimitAlarm,
    Priority,
    RateAlarm,
    SeriesRules,
    TankRules,
)
from tests.examples import few
from tests.strategies import MINUTE, START_US, cuts, eventful_rules, limit, streams


def block(times_us, values, series=None) -> Block:
    index = np.zeros(len(times_us), np.int64) if series is None else np.array(series, np.int64)
    return Block(np.array(times_us, np.int64), np.array(values, float), index)


def run(engine: Engine, stream: Block, places: list[int]):
    """Advance in blocks cut at `places`; return final flags and events."""
    edges = sorted({0, len(stream), *(place for place in places if place < len(stream))})
    flags: dict[tuple[int, int, int], tuple[int, int]] = {}
    newest: dict[int, int] = {}
    events = []
    for start, end in pairwise(edges):
        part = Block(stream.times_us[start:end], stream.values[start:end], stream.series[start:end])
        outcome = engine.advance(part)
        for revised in outcome.revised:
            flags[newest[revised.series]] = (revised.primary, revised.tests)
        for offset in range(end - start):
            flags[start + offset] = (outcome.primary[offset], outcome.tests[offset])
            if not outcome.late[offset] and outcome.primary[offset] != 9:
                newest[int(part.series[offset])] = start + offset
        events += outcome.events
    last_us = int(stream.times_us.max()) + 6 * HOUR_US
    events += engine.advance_to(last_us)
    return flags, events


@settings(max_examples=few(150), deadline=None)
@given(streams(), cuts())
def test_flags_and_events_do_not_depend_on_how_the_stream_is_cut(stream, places):
    whole = run(Engine(eventful_rules()), stream, [])
    assert run(Engine(eventful_rules()), stream, places) == whole
    assert run(Engine(eventful_rules()), stream, list(range(len(stream)))) == whole


def test_the_streams_of_the_property_really_raise_alarms_of_many_causes():
    """The property above would be empty if its streams never rang."""
    seen = set()

    @settings(max_examples=100, deadline=None, derandomize=True, database=None)
    @given(streams())
    def look(stream):
        _, events = run(Engine(eventful_rules()), stream, [])
        seen.update(event.alarm.cause for event in events if isinstance(event, AlarmRaised))

    look()
    assert {"over_limit", "under_limit", "over_danger_line", "probe_silent", "probe_stuck"} <= seen


@settings(max_examples=60, deadline=None)
# Not before 1970, where the grid of steps begins.
@given(streams(), st.integers(-20_000, 10**6))
def test_shifting_all_times_by_whole_days_shifts_nothing_else(stream, days):
    shift = days * 24 * HOUR_US // 1000 * 1000
    moved = Block(stream.times_us + shift, stream.values, stream.series)
    flags, events = run(Engine(eventful_rules()), stream, [])
    moved_flags, moved_events = run(Engine(eventful_rules()), moved, [])
    assert moved_flags == flags
    assert [event.at_us - shift for event in moved_events] == [event.at_us for event in events]
    assert [type(event) for event in moved_events] == [type(event) for event in events]


@settings(max_examples=60, deadline=None)
@given(streams())
def test_judging_never_writes_to_its_input(stream):
    before = copy.deepcopy(stream)
    Engine(eventful_rules()).advance(stream)
    for column in ("times_us", "values", "series"):
        np.testing.assert_array_equal(getattr(stream, column), getattr(before, column))


@settings(max_examples=60, deadline=None)
@given(streams())
def test_another_tank_changes_nothing_here(stream):
    mine = stream.series < 2
    alone = Block(stream.times_us[mine], stream.values[mine], stream.series[mine])
    if not len(alone):
        return
    shared, _ = run(Engine(eventful_rules()), stream, [])
    own, _ = run(Engine(eventful_rules()), alone, [])
    assert [shared[int(place)] for place in np.flatnonzero(mine)] == list(own.values())


@settings(max_examples=60, deadline=None)
@given(streams(), st.integers(0, 119))
def test_a_restart_in_the_middle_changes_no_later_event(stream, place):
    """Readings of the look-back are replayed, open incidents restored; nothing is lost or doubled."""
    place = min(place, len(stream))
    head = Block(stream.times_us[:place], stream.values[:place], stream.series[:place])
    tail = Block(stream.times_us[place:], stream.values[place:], stream.series[place:])
    straight = Engine(eventful_rules())
    first = straight.advance(head).events
    rest = straight.advance(tail).events

    active: dict[AlarmKey, AlarmRaised] = {}
    number = 0
    for event in first:
        if isinstance(event, AlarmRaised):
            active[event.alarm] = event
        elif isinstance(event, AlarmReturned):
            del active[event.alarm]
        elif isinstance(event, IncidentOpened):
            number = event.incident.number
    again = Engine(eventful_rules())
    again.advance(head)
    again.restore(
        [
            (incident, [raised for alarm, raised in active.items() if alarm in incident.alarms])
            for incident in straight_incidents(first)
        ],
        number + 1,
    )
    assert again.advance(tail).events == rest


def straight_incidents(events):
    opened = {}
    for event in events:
        if isinstance(event, IncidentEnded):
            opened.pop(event.incident.number, None)
        elif not isinstance(event, AlarmRaised | AlarmReturned):
            opened[event.incident.number] = event.incident
    return opened.values()


def one_series(**limits) -> EngineRules:
    return EngineRules(
        tanks=(TankRules("reef"),), series=(SeriesRules("reef", "temperature", "temperature", **limits),)
    )


@pytest.mark.parametrize(
    ("value", "rings"), [(25.99, False), (26.0, False), (26.01, True)], ids=["under", "at", "over"]
)
def test_a_high_limit_rings_only_above_its_setpoint(value, rings):
    engine = Engine(one_series(limit_alarms=(limit(26.0, is_high=True),)))
    times = [START_US + minute * MINUTE for minute in range(10)]
    events = engine.advance(block(times, [value] * 10)).events
    assert any(isinstance(event, AlarmRaised) for event in events) is rings


def test_an_alarm_bears_the_instant_at_which_its_delay_was_fulfilled():
    engine = Engine(one_series(limit_alarms=(limit(26.0, is_high=True),)))
    times = [START_US + second * 1_000_000 for second in (0, 50, 110, 170, 230)]
    events = engine.advance(block(times, [25.0, 26.5, 26.5, 26.5, 26.5])).events
    raised = next(event for event in events if isinstance(event, AlarmRaised))
    assert raised.first_evidence_us == times[1]
    assert raised.at_us == times[1] + 2 * MINUTE
    assert raised.alarm == AlarmKey("reef", "temperature", "over_limit")
    assert raised.priority is Priority.HIGH


def test_on_delay_example_of_a_secondary_text_on_isa_18_2():
    """3 s on-delay: true for 1 s rings nothing; true from t=4 is active at t=7; clears at t=11.

    Worked example read in a secondary text that quotes ISA-18.2 (an open industrial-control course).
    """
    alarm = limit(26.0, is_high=True, delay_us=3_000_000)
    alarm = type(alarm)(26.0, True, False, 0.0, 3_000_000, 0, Priority.HIGH)
    engine = Engine(one_series(limit_alarms=(alarm,)))
    condition = {1: True, 2: False, 4: True, 11: False, 13: True, 18: False}
    times, values, on = [], [], False
    for second in range(25):
        on = condition.get(second, on)
        times.append(START_US + second * 1_000_000)
        values.append(27.0 if on else 25.0)
    events = engine.advance(block(times, values)).events
    story = [
        ((event.at_us - START_US) // 1_000_000, isinstance(event, AlarmRaised))
        for event in events
        if isinstance(event, AlarmRaised | AlarmReturned)
    ]
    assert story == [(7, True), (11, False), (16, True), (18, False)]


@pytest.mark.parametrize(
    ("seconds", "rings"), [(59, False), (60, False), (61, True)], ids=["before", "at", "behind"]
)
def test_a_condition_gone_at_the_end_of_its_delay_has_not_held_for_it(seconds, rings):
    """Just behind the delay it had held: raised, and returned by the same reading, in that order."""
    alarm = LimitAlarm(26.0, True, False, 0.2, MINUTE, 0, Priority.HIGH)
    engine = Engine(one_series(limit_alarms=(alarm,)))
    times = [START_US, START_US + seconds * 1_000_000, START_US + 3 * MINUTE]
    events = [*engine.advance(block(times, [27.0, 25.0, 25.0])).events]
    events += engine.advance_to(START_US + 4 * MINUTE)
    story = [type(event) for event in events]
    assert story == ([AlarmRaised, IncidentOpened, AlarmReturned, IncidentEnded] if rings else [])
    assert engine.open_incidents == ()


def test_a_value_within_the_deadband_does_not_return_to_normal():
    engine = Engine(one_series(limit_alarms=(limit(26.0, is_high=True, delay_us=0),)))
    times = [START_US + minute * MINUTE for minute in range(6)]
    events = engine.advance(block(times, [26.5, 25.9, 25.81, 25.8, 25.79, 25.0])).events
    story = [(event.at_us - START_US) // MINUTE for event in events if isinstance(event, AlarmReturned)]
    assert story == [4]


def test_a_contact_that_closes_once_rings_by_the_clock_alone():
    alarm = type(limit(0.5, is_high=True))(0.5, True, True, 0.0, 30_000_000, 0, Priority.URGENT)
    rules = EngineRules(
        tanks=(TankRules("reef"),), series=(SeriesRules("reef", "floor", "contact", limit_alarms=(alarm,)),)
    )
    engine = Engine(rules)
    assert engine.advance(block([START_US], [1.0])).events == ()
    assert engine.advance_to(START_US + 34_000_000) == ()
    events = engine.advance_to(START_US + 35_000_000)
    assert events[0].alarm.cause == "contact_alarm"
    assert events[0].at_us == START_US + 30_000_000


class TestSilence:
    rules = one_series(gap=GapLimits(10 * MINUTE))

    @pytest.mark.parametrize(("minutes", "rings"), [(9.9, False), (10.0, True)], ids=["under", "at"])
    def test_rings_after_the_gap_and_the_allowance(self, minutes, rings):
        engine = Engine(self.rules)
        engine.advance(block([START_US], [25.0]))
        events = engine.advance_to(START_US + round(minutes * MINUTE) + 5_000_000)
        assert bool(events) is rings
        if rings:
            assert events[0].at_us == START_US + 10 * MINUTE

    @pytest.mark.parametrize(("seconds", "rings"), [(599, False), (600, False), (601, True)])
    def test_a_reading_at_the_very_limit_is_no_silence_and_behind_it_ends_one(self, seconds, rings):
        """As in the gap test: only a longer time than the limit is a gap."""
        engine = Engine(self.rules)
        times = [START_US, START_US + seconds * 1_000_000, START_US + 12 * MINUTE]
        outcome = engine.advance(block(times, [25.0] * 3))
        story = [type(event) for event in (*outcome.events, *engine.advance_to(START_US + 13 * MINUTE))]
        assert story == ([AlarmRaised, IncidentOpened, AlarmReturned, IncidentEnded] if rings else [])
        assert engine.open_incidents == ()
        assert (outcome.primary[1] == 4) is rings

    def test_an_outage_of_the_service_is_no_silence_of_the_probe(self):
        engine = Engine(self.rules)
        engine.advance(block([START_US], [25.0]))
        engine.stop_listening()
        back = START_US + 3 * HOUR_US
        engine.listen_from(back)
        assert engine.advance_to(back + 9 * MINUTE) == ()
        outcome = engine.advance(block([back + 9 * MINUTE + 1], [25.0]))
        assert outcome.events == ()
        assert outcome.primary == [4], "the gap test still marks the reading that ends the gap"

    def test_a_probe_last_heard_before_the_look_back_is_silent_all_the_same(self):
        engine = Engine(self.rules)
        engine.stop_listening()
        engine.remember(0, START_US - 40 * HOUR_US, 25.3)
        engine.listen_from(START_US)
        assert engine.advance_to(START_US + 10 * MINUTE) == ()
        events = engine.advance_to(START_US + 11 * MINUTE)
        assert events[0].alarm.cause == "probe_silent"
        assert events[0].at_us == START_US + 10 * MINUTE
        assert events[0].evidence.value == 25.3

    def test_a_backlog_is_not_silence_however_old_it_is(self):
        engine = Engine(self.rules)
        engine.stop_listening()
        times = [START_US + minute * MINUTE for minute in (0, 1, 40, 41)]
        assert engine.advance(block(times, [25.0] * 4)).events == ()

    def test_two_rates_of_change_are_not_invented_over_a_gap(self):
        from rules import RateOfChangeLimits

        engine = Engine(one_series(gap=GapLimits(10 * MINUTE), rate_of_change=RateOfChangeLimits(1.0)))
        times = [START_US, START_US + MINUTE, START_US + 60 * MINUTE]
        outcome = engine.advance(block(times, [25.0, 25.0, 29.0]))
        assert outcome.tests[2] >> 12 & 15 == 2, "not evaluated"

    def test_a_silence_from_before_the_look_back_ends_with_the_first_reading_after_a_restart(self):
        straight = Engine(self.rules)
        straight.advance(block([START_US], [25.0]))
        raised, opened = straight.advance_to(START_US + HOUR_US)
        again = Engine(self.rules)
        again.restore([(opened.incident, [raised])], 2)
        back = START_US + 72 * HOUR_US
        assert [type(event) for event in advanced(again, [back])] == [AlarmReturned, IncidentEnded]
        assert advanced(straight, [back])[0].at_us == back


def advanced(engine: Engine, times_us: list[int]):
    """What readings say, and the clock as soon as the allowance has passed."""
    events = [*engine.advance(block(times_us, [25.0] * len(times_us))).events]
    return [*events, *engine.advance_to(times_us[-1] + 5_000_000)]


def test_an_alarm_that_nothing_watches_any_more_returns_to_normal_after_a_restart():
    """Else its incident would stay open for ever and swallow every later ring of that series."""
    rules = one_series(limit_alarms=(limit(26.0, is_high=True, delay_us=0),))
    before = Engine(rules)
    raised, opened = before.advance(block([START_US, START_US + MINUTE], [27.0, 27.0])).events
    after = Engine(one_series(limit_alarms=(limit(24.0, is_high=False, delay_us=0),)))
    after.advance(block([START_US, START_US + MINUTE], [27.0, 27.0]))
    after.restore([(opened.incident, [raised])], 2)
    returned, ended = after.advance_to(START_US + 2 * MINUTE)
    assert (returned.alarm, returned.at_us) == (raised.alarm, START_US + MINUTE)
    assert ended.incident.number == opened.incident.number
    events = [*after.advance(block([START_US + 3 * MINUTE], [20.0])).events]
    events += after.advance_to(START_US + 4 * MINUTE)
    assert [type(event) for event in events] == [AlarmRaised, IncidentOpened]


class TestBoard:
    def test_its_word_lets_time_pass_for_all_other_alarms_first(self):
        engine = Engine(one_series(gap=GapLimits(10 * MINUTE)))
        engine.advance(block([START_US], [25.0]))
        engine.board_changed(START_US + 9 * MINUTE, "reef", "sump board", ("temperature",), False)
        events = engine.board_changed(START_US + 11 * MINUTE, "reef", "other board", (), False)
        causes = [event.alarm.cause for event in events if isinstance(event, AlarmRaised)]
        assert causes == ["device_offline", "probe_silent"]

    def test_its_delay_does_not_end_by_the_clock_while_nothing_can_be_heard(self):
        engine = Engine(one_series())
        engine.board_changed(START_US, "reef", "sump board", ("temperature",), False)
        engine.stop_listening()
        assert engine.advance_to(START_US + 2 * MINUTE) == ()
        engine.board_changed(START_US + 50_000_000, "reef", "sump board", ("temperature",), True)
        engine.listen_from(START_US + 3 * MINUTE)
        assert engine.advance_to(START_US + 3 * MINUTE) == ()

    def test_a_board_that_stays_away_is_one_alarm_and_its_return_ends_it(self):
        engine = Engine(one_series())
        assert engine.board_changed(START_US, "reef", "sump board", ("temperature",), False) == ()
        events = engine.advance_to(START_US + 65_000_000)
        assert [type(event) for event in events] == [AlarmRaised, IncidentOpened]
        assert events[1].incident.series == ("temperature",)
        back = START_US + 30 * MINUTE
        engine.board_changed(back, "reef", "sump board", ("temperature",), True)
        events = engine.advance_to(back + 5_000_000)
        assert [type(event) for event in events] == [AlarmReturned, IncidentEnded]

    def test_a_board_that_is_back_within_a_minute_rings_nothing(self):
        engine = Engine(one_series())
        engine.board_changed(START_US, "reef", "sump board", ("temperature",), False)
        engine.board_changed(START_US + 30_000_000, "reef", "sump board", ("temperature",), True)
        assert engine.advance_to(START_US + HOUR_US) == ()


@pytest.mark.parametrize(("hours", "is_told"), [(0.4, True), (0.7, False), (72.0, False)])
def test_a_slope_from_before_a_gap_is_told_while_it_covers_half_its_window(hours, is_told):
    """Readings after an outage have no slope of their own yet; a projection must not use an old one."""
    limits = (
        limit(26.0, is_high=True, delay_us=0),
        limit(30.0, is_high=True, is_danger=True, delay_us=0),
    )
    engine = Engine(one_series(limit_alarms=limits))
    times = [START_US + minute * MINUTE for minute in range(121)]
    engine.advance(block(times, [22.0 + 0.01 * minute for minute in range(121)]))
    back = times[-1] + round(hours * HOUR_US)
    raised = engine.advance(block([back, back + 10_000_000], [26.5, 26.5])).events[0]
    assert isinstance(raised, AlarmRaised)
    assert (raised.evidence.rate_per_hour is not None) is is_told
    assert (raised.evidence.danger_at_us is not None) is is_told


def test_evidence_of_a_slope_is_of_the_step_that_raised_the_alarm():
    """Steps are five minutes apart: a delay of a minute and a half ends at the next one."""
    rule = RateAlarm(3.0, 30 * MINUTE, 90_000_000, 0, Priority.LOW)
    engine = Engine(one_series(rate_alarm=rule))
    start = START_US // (5 * MINUTE) * 5 * MINUTE
    minutes = np.arange(80)
    times = (start + minutes * MINUTE).tolist()
    raised = engine.advance(block(times, (25.0 + 0.1 * np.maximum(minutes - 30, 0)).tolist())).events[0]
    assert isinstance(raised, AlarmRaised)
    assert raised.at_us == raised.first_evidence_us + 5 * MINUTE
    # Its value is the median of the five minutes before.
    known = (raised.at_us - start) // MINUTE - 3
    assert raised.evidence.value == pytest.approx(25.0 + 0.1 * (known - 30))


class TestStuck:
    rules = one_series(gap=GapLimits(15 * MINUTE), flat_line=FlatLineLimits(0.001, 4 * HOUR_US, 8 * HOUR_US))

    def story(self, values_after_gap):
        """Stuck for ten hours, away for twenty minutes, then these values, one a minute.

        The probe is stuck after eight hours, 140 min before the gap ends; the next step tells it.
        """
        engine = Engine(self.rules)
        events = [*engine.advance(block([START_US + n * MINUTE for n in range(600)], [25.0] * 600)).events]
        back = START_US + 620 * MINUTE
        times = [back + n * MINUTE for n in range(len(values_after_gap))]
        events += engine.advance(block(times, values_after_gap)).events
        return [
            (type(event), (event.at_us - back) // MINUTE)
            for event in events
            if isinstance(event, AlarmRaised | AlarmReturned) and event.alarm.cause == "probe_stuck"
        ]

    def test_a_gap_does_not_end_the_alarm_of_a_probe_that_is_still_stuck(self):
        assert self.story([25.0] * 600) == [(AlarmRaised, -139)]

    def test_a_probe_that_moves_behind_the_gap_is_believed_after_ten_minutes(self):
        moving = [25.0 + 0.01 * (n % 7) for n in range(30)]
        assert self.story(moving) == [(AlarmRaised, -139), (AlarmReturned, 11)]


def test_state_stays_bounded_while_a_probe_is_stuck_for_days():
    import pickle

    rules = eventful_rules()
    engine = Engine(rules)
    sizes = []
    for day in range(4):
        times = START_US + day * 24 * HOUR_US + np.arange(2880, dtype=np.int64) * 30_000_000
        engine.advance(Block(times, np.full(2880, 25.0), np.zeros(2880, np.int64)))
        sizes.append(len(pickle.dumps(engine._watches)))
    assert sizes[3] <= sizes[2] * 1.01
