"""Other ways to watch: a higher level rings later and less, and what knows the fault knows it first."""

from __future__ import annotations

import numpy as np
import pytest

from tests.bench.trials.campaign import METHODS
from tests.bench.trials.ideal import best_minutes
from tests.bench.trials.methods import Method, Stretch, false_rings, ring_minutes
from tests.bench.trials.trial import learned, play, world_key
from tests.bench.trials.worlds import BASIC

# River is no part of what the test suite installs.
TESTED = [method for name, method in METHODS.items() if not name.startswith("river")]


def stretch_of(name: str, seed: int, *, is_clean: bool = False) -> tuple[Stretch, int]:
    played = play(name, seed, is_clean=is_clean)
    key = world_key(played.case, seed, None)
    known = learned(key)
    stretch = Stretch(
        key, played.world, known.readings, known.now_us, played.readings, played.from_us, played.to_us
    )
    return stretch, played.at_us


@pytest.mark.parametrize("method", TESTED, ids=lambda method: method.name)
def test_a_dead_heater_is_told_by_every_method_at_some_level(method: Method) -> None:
    stretch, at_us = stretch_of("heater_failed_off", 3)
    table = ring_minutes(method, stretch, BASIC, at_us)
    first = min(minutes.min() for (channel, _), minutes in table.items() if channel.startswith("temperature"))
    assert 0 < first < 12 * 60


@pytest.mark.parametrize("method", TESTED, ids=lambda method: method.name)
def test_a_quiet_stretch_rings_less_at_the_highest_level_than_at_the_lowest(method: Method) -> None:
    stretch, _ = stretch_of("heater_failed_off", 3, is_clean=True)
    table = false_rings(method, stretch, BASIC)
    assert sum(counts[-1] for counts in table.values()) <= sum(counts[0] for counts in table.values())
    assert all((np.diff(method.levels(channel)) > 0).all() for channel, _ in table)


def test_work_that_was_told_rings_no_limit() -> None:
    stretch, _ = stretch_of("heater_failed_off", 3)
    method = TESTED[0]
    assert sum(counts.sum() for counts in false_rings(method, stretch, BASIC).values()) > 0
    stretch.told = [(stretch.from_us, stretch.to_us)]
    assert sum(counts.sum() for counts in false_rings(method, stretch, BASIC).values()) == 0


def test_who_knows_the_course_needs_longer_for_fewer_false_alarms() -> None:
    played = play("heater_failed_off", 3)
    hasty, careful = (best_minutes(played, a_month) for a_month in (1000.0, 0.001))
    assert hasty is not None
    assert careful is not None
    assert 5 <= hasty <= careful < 12 * 60
