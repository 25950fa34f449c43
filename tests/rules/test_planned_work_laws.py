"""Laws of planned work on made streams: any cut, dangers untouched, nothing suppressed told, any restart."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from rules import (
    HOUR_US,
    KINDS,
    AlarmKey,
    AlarmRaised,
    AlarmReturned,
    Block,
    Engine,
    IncidentEnded,
    IncidentOpened,
    PlannedWork,
)
from rules.flags import Flag
from rules.planned_work import NEVER_SUPPRESSED
from rules.trace import STEP_US
from tests.examples import few
from tests.strategies import START_US, cuts, eventful_rules, streams

SECOND = 1_000_000
DAY_US = 24 * HOUR_US

plans = st.lists(
    st.builds(
        lambda tank, kind, from_s, lasts_s: PlannedWork(
            tank, kind, START_US + from_s * SECOND, START_US + (from_s + lasts_s) * SECOND
        ),
        st.sampled_from(["reef", "reef", "nursery"]),
        st.sampled_from(sorted(KINDS)),
        st.integers(-7200, 12_000),
        st.sampled_from([1, 60, 600, 3600, 7200, 20_000]),
    ),
    max_size=3,
)


def run(stream: Block, plan: list[PlannedWork], told_at: int, places: list[int]):
    """Final flags and all events, with the plan told before the reading at a place."""
    engine = Engine(eventful_rules())
    count = len(stream)
    told_at = min(told_at, count - 1)
    edges = sorted({0, count, told_at, *(place for place in places if place < count)})
    flags: dict[int, tuple[int, int]] = {}
    newest: dict[int, int] = {}
    events = []
    for start, end in pairwise(edges):
        if start == told_at:
            engine.plan_work(plan)
        part = Block(stream.times_us[start:end], stream.values[start:end], stream.series[start:end])
        outcome = engine.advance(part)
        for revised in outcome.revised:
            flags[newest[revised.series]] = (revised.primary, revised.tests)
        for offset in range(end - start):
            flags[start + offset] = (outcome.primary[offset], outcome.tests[offset])
            if not outcome.late[offset] and outcome.primary[offset] != Flag.MISSING:
                newest[int(part.series[offset])] = start + offset
        events += outcome.events
    events += engine.advance_to(int(stream.times_us.max()) + 6 * HOUR_US)
    return flags, events


@settings(max_examples=few(150), deadline=None)
@given(streams(), plans, st.integers(0, 119), cuts())
def test_flags_and_events_do_not_depend_on_the_cut_with_work_planned(stream, plan, told_at, places):
    whole = run(stream, plan, told_at, [])
    assert run(stream, plan, told_at, places) == whole
    assert run(stream, plan, told_at, list(range(len(stream)))) == whole


# Long enough to wander as far as a danger line.
wanderings = streams(least=60)


def dangers(events):
    return [
        (event.at_us, event.alarm, type(event))
        for event in events
        if isinstance(event, AlarmRaised | AlarmReturned) and event.alarm.cause in NEVER_SUPPRESSED
    ]


@settings(max_examples=few(150), deadline=None)
@given(wanderings, plans)
def test_dangers_ring_and_end_exactly_as_without_work(stream, plan):
    assert dangers(run(stream, plan, 0, [])[1]) == dangers(run(stream, [], 0, [])[1])


@settings(max_examples=few(100), deadline=None)
@given(wanderings, plans)
def test_nothing_that_work_suppresses_begins_or_ends_during_it(stream, plan):
    quantity = {(one.tank, one.name): one.quantity for one in eventful_rules().series}
    for event in run(stream, plan, 0, [])[1]:
        if not isinstance(event, AlarmRaised | AlarmReturned):
            continue
        alarm = event.alarm
        if alarm.cause not in {"under_limit", "over_limit", "heater_failed_off"}:
            continue
        for one in plan:
            is_of_it = one.suppresses(alarm.cause) or alarm.cause.endswith("_limit")
            if alarm.tank == one.tank and is_of_it and one.disturbs(quantity[alarm.tank, alarm.series]):
                assert not one.from_us < event.at_us < one.settled_us


@settings(max_examples=few(100), deadline=None)
@given(wanderings, plans)
def test_what_is_suppressed_until_an_instant_is_not_raised_before_it_and_may_be_after(stream, plan):
    engine = Engine(eventful_rules())
    engine.plan_work(plan)
    held = {}
    for place in range(len(stream)):
        one_reading = slice(place, place + 1)
        block = Block(stream.times_us[one_reading], stream.values[one_reading], stream.series[one_reading])
        for event in engine.advance(block).events:
            if isinstance(event, AlarmRaised):
                assert event.at_us >= held.get(event.alarm, event.at_us)
        for one in engine.suppressed:
            assert one.first_us <= one.last_us <= one.to_us
            assert one.to_us <= max(work.settled_us for work in plan) + STEP_US
            held[one.alarm] = one.to_us
    engine.plan_work([])
    assert engine.suppressed == ()


def test_the_laws_above_are_not_empty():
    """Their streams do ring within works, and works do suppress something."""
    seen = {"danger": 0, "suppressed": 0}

    @settings(max_examples=200, deadline=None, derandomize=True, database=None)
    @given(wanderings, plans)
    def look(stream, plan):
        engine = Engine(eventful_rules())
        engine.plan_work(plan)
        events = engine.advance(stream).events
        seen["suppressed"] += len(engine.suppressed)
        for at_us, alarm, kind in dangers(events):
            if kind is AlarmRaised and any(
                one.tank == alarm.tank and one.from_us < at_us < one.settled_us for one in plan
            ):
                seen["danger"] += 1

    look()
    assert seen["danger"] >= 20
    assert seen["suppressed"] >= 50


@settings(max_examples=few(100), deadline=None)
@given(streams(), plans, st.integers(0, 119))
def test_a_restart_in_the_middle_of_work_changes_no_later_event(stream, plan, place):
    place = min(place, len(stream))
    head = Block(stream.times_us[:place], stream.values[:place], stream.series[:place])
    tail = Block(stream.times_us[place:], stream.values[place:], stream.series[place:])
    straight = Engine(eventful_rules())
    straight.plan_work(plan)
    first = straight.advance(head).events
    rest = [*straight.advance(tail).events, *straight.advance_to(START_US + DAY_US)]
    active: dict[AlarmKey, AlarmRaised] = {}
    opened = {}
    number = 0
    for event in first:
        if isinstance(event, AlarmRaised):
            active[event.alarm] = event
        elif isinstance(event, AlarmReturned):
            del active[event.alarm]
        else:
            opened[event.incident.number] = event.incident
            if isinstance(event, IncidentEnded):
                del opened[event.incident.number]
            if isinstance(event, IncidentOpened):
                number = event.incident.number
    again = Engine(eventful_rules())
    again.plan_work(plan)
    again.advance(head)
    again.restore(
        [
            (incident, [one for alarm, one in active.items() if alarm in incident.alarms])
            for incident in opened.values()
        ],
        number + 1,
    )
    assert [*again.advance(tail).events, *again.advance_to(START_US + DAY_US)] == rest
