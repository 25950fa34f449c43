"""A whole tank with every role, for days: what is said does not depend on cuts, and outlives a restart."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from rules import (
    FAULTS,
    AlarmRaised,
    AlarmReturned,
    Block,
    Engine,
    Event,
    IncidentEnded,
    IncidentOpened,
    unpack,
)
from tests.rules.eventful_tank import baselines, part, rules, stream

Flags = dict[tuple[int, int], tuple[int, int]]


def run(engine: Engine, block: Block, places: list[int]) -> tuple[Flags, list[Event]]:
    """Primary and packed flags as they are in the end, by series and instant, and what happened."""
    flags: dict[tuple[int, int], tuple[int, int]] = {}
    events: list[Event] = []
    for start, end in zip([0, *places], [*places, len(block)], strict=True):
        some = part(block, start, end)
        outcome = engine.advance(some)
        keys = zip(some.series.tolist(), some.times_us.tolist(), strict=True)
        flags.update(zip(keys, zip(outcome.primary, outcome.tests, strict=True), strict=True))
        flags.update({(one.series, one.observed_us): (one.primary, one.tests) for one in outcome.revised})
        events += outcome.events
    return flags, events


@pytest.mark.parametrize("seed", range(4))
def test_a_tank_is_told_the_same_however_its_readings_are_cut(seed):
    block = stream(seed, 3)
    whole = run(Engine(rules(), baselines()), block, [])
    chance = np.random.default_rng(100 + seed)
    for pieces in (7, 400):
        places = sorted(chance.integers(0, len(block), pieces).tolist())
        assert run(Engine(rules(), baselines()), block, places) == whole
    # Live: one reading at a time.
    live = run(Engine(rules(), baselines()), part(block, 0, 6000), list(range(1, 6000)))
    assert live == run(Engine(rules(), baselines()), part(block, 0, 6000), [])


def test_readings_of_a_cell_are_flagged_beside_their_companion_after_its_step():
    flags, _ = run(Engine(rules(), baselines()), stream(1, 3), [])
    seen = Counter(name for _, tests in flags.values() for name in unpack(tests))
    assert {"neighbor", "multivariate", "climatology", "spike"} <= set(seen)


def test_these_streams_make_most_faults_speak():
    spoken = Counter(
        event.alarm.cause
        for seed in range(4)
        for event in run(Engine(rules(), baselines()), stream(seed, 3), [])[1]
        if isinstance(event, AlarmRaised)
    )
    missing = {fault for fault in FAULTS if not spoken[fault]}
    assert len(missing) <= len(FAULTS) // 3, (missing, spoken)


@pytest.mark.parametrize("seed", range(2))
def test_a_restart_changes_nothing_that_is_said_later(seed):
    """What has gone through the look-back gives a fresh engine the same eyes."""
    block = stream(seed, 6)
    straight = Engine(rules(), baselines())
    # Restart in the last day: all of the look-back before it has been recorded.
    place = int(len(block) * 0.85)
    first = run(straight, part(block, 0, place), [])[1]
    rest = run(straight, part(block, place, len(block)), [])[1]
    again = Engine(rules(), baselines())
    recorded = part(block, 0, place)
    from_us = int(recorded.times_us.max()) - again.look_back_us
    kept = recorded.times_us >= from_us
    again.advance(Block(recorded.times_us[kept], recorded.values[kept], recorded.series[kept]))
    active, opened, number = {}, {}, 0
    for event in first:
        if isinstance(event, AlarmRaised):
            active[event.alarm] = event
        elif isinstance(event, AlarmReturned):
            active.pop(event.alarm, None)
        elif isinstance(event, IncidentEnded):
            opened.pop(event.incident.number)
        else:
            if isinstance(event, IncidentOpened):
                number = event.incident.number
            opened[event.incident.number] = event.incident
    again.restore(
        [
            (incident, [active[key] for key in incident.alarms if key in active])
            for incident in opened.values()
        ],
        number + 1,
    )
    assert run(again, part(block, place, len(block)), [])[1] == rest
