"""Other limits over what an engine went through: word for word what an engine with these limits says."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from rules import (
    HOUR_US,
    KINDS,
    Block,
    Engine,
    EngineRules,
    Event,
    Keeper,
    LimitAlarm,
    PlannedWork,
    Priority,
    Reruns,
    SeriesRules,
    Suppressed,
    but_limits,
)
from tests.rules.eventful_tank import MINUTE_US, START_US, USUAL, baselines, part, rules, stream

DAYS = 2
Said = list[tuple[list[Event], list[Suppressed]]]


def works(seed: int) -> list[PlannedWork]:
    chance = np.random.default_rng(seed)
    found = []
    for kind in chance.choice(sorted(KINDS), 4).tolist():
        from_us = START_US + int(chance.integers(0, DAYS * 24 * 60)) * MINUTE_US
        lasts_us = int(chance.integers(5, 180)) * MINUTE_US
        found.append(PlannedWork("reef", kind, from_us, from_us + lasts_us))
    return sorted(found)


def go(engine: Engine, block: Block, planned: list[PlannedWork]) -> Said:
    """By hours, each work told from the hour on in which it begins until it is forgotten."""
    said = []
    known: tuple[PlannedWork, ...] = ()
    hours = np.arange(START_US, START_US + DAYS * 24 * HOUR_US, HOUR_US)
    edges = [0, *np.searchsorted(np.maximum.accumulate(block.times_us), hours[1:]).tolist(), len(block)]
    for hour_us, start, end in zip(hours.tolist(), edges, edges[1:], strict=False):
        wanted = tuple(
            one for one in planned if one.from_us < hour_us + HOUR_US and one.forgotten_us > hour_us
        )
        if wanted != known:
            engine.plan_work(wanted)
            known = wanted
        events = engine.advance(part(block, start, end)).events
        said.append((list(events), list(engine.suppressed)))
    events = engine.advance_to(int(block.times_us.max()) + HOUR_US)
    return [*said, (list(events), list(engine.suppressed))]


@lru_cache(maxsize=4)
def kept(seed: int) -> Reruns:
    keeper = Keeper()
    go(Engine(rules(), baselines(), keeper=keeper), stream(seed, DAYS), works(seed))
    return Reruns(keeper.blocks)


def with_limits(limits: dict[str, tuple[LimitAlarm, ...]]) -> EngineRules:
    base = rules()
    changed = tuple(
        replace(one, limit_alarms=limits[one.name]) if one.name in limits else one for one in base.series
    )
    return replace(base, series=changed)


@st.composite
def limits_of(draw: st.DrawFn, series: SeriesRules) -> tuple[LimitAlarm, ...]:
    """An upper limit and a lower one, near enough to be crossed."""
    centre, swing, _ = USUAL[series.quantity]
    found = []
    for side in draw(st.sampled_from([(-1,), (1,), (-1, 1)])):
        delay = st.integers(0, 40).map(lambda minutes: minutes * MINUTE_US)
        found.append(
            LimitAlarm(
                centre + side * swing * draw(st.floats(0.0, 3.0)),
                side > 0,
                False,
                swing * draw(st.floats(0.0, 0.6)),
                draw(delay),
                draw(delay),
                draw(st.sampled_from(Priority)),
            )
        )
    return tuple(found)


CHANGED = {one.name: one for one in rules().series if one.quantity != "contact"}


@settings(
    max_examples=4,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    phases=(Phase.explicit, Phase.reuse, Phase.generate),
)
@given(
    seed=st.integers(0, 1),
    limits=st.dictionaries(st.sampled_from(sorted(CHANGED)), st.none(), min_size=1, max_size=6).flatmap(
        lambda some: st.fixed_dictionaries({name: limits_of(CHANGED[name]) for name in some})
    ),
)
def test_other_limits_say_what_an_engine_says_that_has_them(seed, limits):
    wanted = with_limits(limits)
    assert but_limits(wanted) == but_limits(rules())
    found = [(list(one.events), one.suppressed) for one in kept(seed).run(wanted)]
    expected = go(Engine(wanted, baselines()), stream(seed, DAYS), works(seed))
    assert len(found) == len(expected)
    for (events, suppressed), (by_engine, suppressed_by_engine) in zip(found, expected, strict=True):
        assert events == by_engine
        assert Counter(suppressed) == Counter(suppressed_by_engine)


@pytest.mark.parametrize(
    "changed",
    [
        {"rate_alarm": None},
        {"gap": None},
        {"limit_alarms": (LimitAlarm(24.0, False, True, 0.1, 0, 0, Priority.URGENT),)},
    ],
    ids=["rates", "gaps", "a danger line"],
)
def test_what_is_no_mere_limit_is_not_tried_over_the_same(changed):
    base = rules()
    series = tuple(replace(one, **changed) if one.name == "temperature" else one for one in base.series)
    assert but_limits(replace(base, series=series)) != but_limits(base)


def test_a_limit_of_a_contact_is_no_mere_limit():
    assert but_limits(
        with_limits({"floor_contact": (LimitAlarm(0.5, False, False, 0, 0, 0, Priority.HIGH),)})
    ) != (but_limits(rules()))
