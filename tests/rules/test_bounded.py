"""What an engine holds of a tank with every role and every fault does not grow with time."""

from __future__ import annotations

import gc
from array import array
from collections import Counter, deque

import numpy as np
import pytest

from rules import HOUR_US, AlarmRaised, Block, Engine, HeatModel, PlannedWork
from tests.rules.eventful_tank import START_US, baselines, rules, stream

DAYS = 5
DAY_US = 24 * HOUR_US


def held(engine: Engine) -> tuple[int, Counter[str]]:
    """How many elements all containers within an engine hold, and how many objects of each of its types."""
    # What was given once is no state.
    seen = {id(engine.rules)}
    total = 0
    types: Counter[str] = Counter()
    waiting: list[object] = [engine]
    while waiting:
        one = waiting.pop()
        # All of it lives as long as the engine does, so identities stay.
        if id(one) in seen or isinstance(one, type):
            continue
        seen.add(id(one))
        if isinstance(one, list | deque | array | dict | tuple | set | frozenset):
            total += len(one)
            waiting += gc.get_referents(one)
        elif type(one).__module__.startswith("rules."):
            types[type(one).__name__] += 1
            waiting += gc.get_referents(one)
    return total, types


def story(seed: int, day: int) -> Block:
    """The same five days over and over, with every fault in them that these streams have."""
    block = stream(seed, DAYS)
    return Block(block.times_us + day * DAY_US, block.values, block.series)


@pytest.mark.parametrize(("seed", "size"), [(0, 100_000), (1, 500)], ids=["days", "minutes"])
def test_state_does_not_grow_with_time(seed, size):
    engine = Engine(rules(), baselines())
    engine.set_models({"reef": HeatModel(20.0, 0.05, (0.0,) * 24, time_constant_hours=20.0)})
    totals, raised = [], 0
    types: Counter[str] = Counter()
    for round_number in range(3):
        day = round_number * DAYS
        # As the service does: what is over is not told again.
        work_us = START_US + day * DAY_US + 30 * HOUR_US
        engine.plan_work([PlannedWork("reef", "water_change", work_us, work_us + HOUR_US)])
        block = story(seed, day)
        for start in range(0, len(block), size):
            part = slice(start, start + size)
            events = engine.advance(
                Block(block.times_us[part], block.values[part], block.series[part])
            ).events
            raised += sum(isinstance(event, AlarmRaised) for event in events)
        engine.board_changed(
            START_US + (day + DAYS) * DAY_US, "reef", "sump", ("temperature",), is_online=round_number % 2 > 0
        )
        engine.advance_to(START_US + (day + DAYS) * DAY_US + HOUR_US // 2)
        total, types = held(engine)
        totals.append(total)
    assert raised > 100
    assert {"Trace", "Post", "Hours", "Member", "QualitySuite", "Boards", "Incidents", "Silence"} <= set(
        types
    )
    assert {"HeatModel", "Companions", "DelayedAlarm", "FlatLine", "Climatology"} <= set(types)
    # Traces of three days in cells of five minutes, three columns each, are most of it.
    assert totals[0] > 10_000
    assert max(totals[1:]) <= 1.01 * totals[0] + 100, totals


def test_what_is_held_would_be_seen_to_grow():
    """The count reaches into traces: a list that is never shortened shows."""
    engine = Engine(rules())
    before, _ = held(engine)
    engine._watches[3].trace.medians.extend(np.zeros(5000).tolist())
    assert held(engine)[0] - before == 5000
