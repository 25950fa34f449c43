"""A restart goes through what was recorded by the same steps, and by the baselines that were in force."""

from __future__ import annotations

import numpy as np

from collector.baselines import Version
from collector.intake import Judge
from collector.store import RecordedBlock
from rules import Band, Block, Engine, EngineRules, FloatArray, IntArray, SeriesRules, TankRules

MINUTE_US = 60_000_000
STEP_US = 5 * MINUTE_US
START_US = 1_790_000_000_000_000 // STEP_US * STEP_US


class Asked:
    """A baseline that keeps the instants at which it was asked."""

    def __init__(self) -> None:
        self.instants: list[int] = []

    def band_at(self, time_us: int) -> Band:
        # What was usual in the days before is asked as well.
        if time_us >= START_US:
            self.instants.append(time_us)
        return Band(24.0, 25.5, 27.0)

    def expect(self, times_us: IntArray) -> tuple[FloatArray, FloatArray]:
        return np.full(len(times_us), 24.0), np.full(len(times_us), 27.0)


def recorded(number: int) -> RecordedBlock:
    """One reading a minute, each with a commit of its own a second later."""
    observed_us = START_US + number * MINUTE_US
    block = Block(np.array([observed_us]), np.array([25.0]), np.array([0]))
    return RecordedBlock(number, observed_us + 1_000_000, block, np.zeros(1, np.uint8), ())


def middles(*numbers: int) -> list[int]:
    """Middles of the steps of these numbers, counted from the start."""
    return [START_US + number * STEP_US + STEP_US // 2 for number in numbers]


def test_each_step_is_judged_by_the_baseline_that_was_in_force_then():
    rules = EngineRules(
        (TankRules("reef", equipment=frozenset({"heater"})),),
        (SeriesRules("reef", "temperature", "temperature"),),
    )
    judge = Judge(Engine(rules), {})
    first, second, third = Asked(), Asked(), Asked()
    change_us = START_US + 20 * MINUTE_US + 30_000_000
    versions = [
        Version(START_US - 1, 0, first),
        Version(change_us, 0, second),
        Version(START_US + 120 * MINUTE_US, 0, third),
    ]
    judge.replay((recorded(number) for number in range(40)), versions)
    # The step that ends with minute 20 is taken when the reading of minute 21 has come.
    assert sorted(set(first.instants)) == middles(0, 1, 2)
    assert sorted(set(second.instants)) == middles(3, 4, 5, 6)
    assert third.instants == []
    judge.judge([(START_US + 41 * MINUTE_US, 0, 25.0, 0, 0, b"")], 0)
    assert max(third.instants) == middles(7)[0]


def test_a_series_that_is_learning_again_keeps_the_baseline_it_had():
    rules = EngineRules(
        (TankRules("reef", equipment=frozenset({"heater"})),),
        (
            SeriesRules("reef", "temperature", "temperature"),
            SeriesRules("reef", "ph", "ph"),
        ),
    )
    judge = Judge(Engine(rules), {})
    kept = Asked()
    judge.expect({0: kept})
    judge.expect({1: Asked()})
    judge.judge([(START_US + n * STEP_US, 0, 25.0, 0, 0, b"") for n in range(3)], 0)
    assert sorted(set(kept.instants)) == middles(0)
