"""Laws of the engine where other inputs come between readings: time told, boards, outages of hearing.

They stand at fixed places of the stream; how the readings between them are cut must change nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from rules import (
    HOUR_US,
    AlarmRaised,
    AlarmReturned,
    Block,
    Engine,
    Event,
    IncidentEnded,
    IncidentOpened,
    IncidentUpdated,
)
from tests.examples import few
from tests.strategies import START_US, cuts, eventful_rules, streams

SECOND = 1_000_000
BOARDS = {"upper": ("temperature", "sump"), "lower": ("sump",)}


@dataclass(frozen=True)
class Input:
    """What comes in before the reading at `place`, `later_s` behind the newest one until then."""

    place: int
    kind: str
    later_s: int
    board: str
    is_online: bool


inputs = st.lists(
    st.builds(
        Input,
        st.integers(0, 119),
        st.sampled_from(["time", "board", "deaf", "hearing"]),
        # Round the allowance (5 s), the board's delay (60 s) and the longest silence (8 min).
        st.sampled_from([-600, -5, 0, 4, 5, 6, 60, 65, 120, 480, 485, 1800]),
        st.sampled_from(sorted(BOARDS)),
        st.booleans(),
    ),
    max_size=10,
)


def told(stream: Block, between: list[Input], places: list[int], *, by_the_way: bool = False) -> list[Event]:
    """Events of the stream cut at `places`; `by_the_way` tells the time also before each word of a board."""
    engine = Engine(eventful_rules())
    count = len(stream)
    between = [one for one in between if one.place < count]
    edges = sorted({0, count, *(place for place in places if place < count), *(x.place for x in between)})
    events: list[Event] = []
    for start, end in pairwise(edges):
        newest_us = int(stream.times_us[:start].max()) if start else START_US
        for one in between:
            at_us = newest_us + one.later_s * SECOND
            if one.place != start:
                continue
            if one.kind == "deaf":
                engine.stop_listening()
            elif one.kind == "hearing":
                engine.listen_from(at_us)
            if one.kind == "time" or (by_the_way and one.kind == "board"):
                events += engine.advance_to(at_us)
            if one.kind == "board":
                series = BOARDS[one.board]
                events += engine.board_changed(at_us, "reef", one.board, series, one.is_online)
        part = slice(start, end)
        block = Block(stream.times_us[part], stream.values[part], stream.series[part])
        events += engine.advance(block).events
    last_us = int(stream.times_us.max()) + HOUR_US
    engine.listen_from(last_us)
    return [*events, *engine.advance_to(last_us + 6 * HOUR_US)]


@settings(max_examples=few(150), deadline=None)
@given(streams(), inputs, cuts())
def test_events_do_not_depend_on_the_cut_whatever_comes_in_between(stream, between, places):
    whole = told(stream, between, [])
    assert told(stream, between, places) == whole
    assert told(stream, between, list(range(len(stream)))) == whole


@settings(max_examples=few(150), deadline=None)
@given(streams(), inputs)
def test_the_word_of_a_board_tells_the_time_too(stream, between):
    assert told(stream, between, [], by_the_way=True) == told(stream, between, [])


@settings(max_examples=few(150), deadline=None)
@given(streams(), inputs)
def test_every_alarm_is_raised_and_returned_by_turns_and_every_incident_holds_active_alarms(stream, between):
    active: dict[object, int] = {}
    opened: set[int] = set()
    # An alarm that returned to normal may join another incident while its first is still open.
    home: dict[object, int] = {}
    newest: object = None
    for event in told(stream, between, []):
        if isinstance(event, AlarmRaised):
            assert event.alarm not in active
            assert event.first_evidence_us <= event.at_us
            active[event.alarm] = event.at_us
            newest = event.alarm
        elif isinstance(event, AlarmReturned):
            assert event.at_us >= active.pop(event.alarm)
        elif isinstance(event, IncidentOpened | IncidentUpdated):
            opened.add(event.incident.number)
            if newest in active and newest in event.incident.alarms:
                home[newest] = event.incident.number
                newest = None
        else:
            assert isinstance(event, IncidentEnded)
            opened.remove(event.incident.number)
            assert event.incident.number not in {home[alarm] for alarm in active}
    assert {home[alarm] for alarm in active} == opened
