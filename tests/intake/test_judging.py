"""A restart goes through what was recorded by the same steps, and by the baselines that were in force."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from collector.intake import Judge
from collector.learning import HeatVersion, Learned, Version
from collector.store import RecordedBlock
from rules import (
    AlarmRaised,
    Band,
    Block,
    Engine,
    EngineRules,
    FloatArray,
    HeatModel,
    IntArray,
    LimitAlarm,
    Priority,
    SeriesRules,
    TankRules,
)

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
    return RecordedBlock(
        number, observed_us + 1_000_000, None, observed_us + 1_000_000, block, np.zeros(1, np.uint8), ()
    )


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


def test_a_step_that_time_alone_brought_is_taken_before_what_was_learned_and_read_later():
    rules = EngineRules(
        (TankRules("reef", equipment=frozenset({"heater"})),),
        (SeriesRules("reef", "temperature", "temperature"),),
    )
    second_us = 1_000_000
    before, behind = Asked(), Asked()
    versions = [
        Version(START_US - 1, 0, before),
        Version(START_US + STEP_US + 20 * second_us, 0, behind),
    ]
    # The step ends with minute 5, and is taken when the allowance of 5 s has passed.
    last = replace(
        recorded(5),
        ticked_us=START_US + STEP_US + 10 * second_us,
        engine_us=START_US + STEP_US + 30 * second_us,
    )
    Judge(Engine(rules), {}).replay([*map(recorded, range(5)), last], versions)
    assert sorted(set(before.instants)) == middles(0)
    assert behind.instants == []


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
    judge.judge_by(Learned({0: kept}))
    judge.judge_by(Learned({1: Asked()}))
    judge.judge([(START_US + n * STEP_US, 0, 25.0, 0, 0, b"") for n in range(3)], 0)
    assert sorted(set(kept.instants)) == middles(0)


def test_a_model_of_the_heat_judges_at_the_steps_that_come_after_it():
    """The danger line of water that falls is reached later in a tank that cools slowly."""
    danger = LimitAlarm(21.0, False, True, 0.2, 0, 0, Priority.URGENT)
    rules = EngineRules(
        (TankRules("reef", volume_litres=400.0, equipment=frozenset({"heater"})),),
        (SeriesRules("reef", "temperature", "temperature", limit_alarms=(danger,)),),
    )

    def falling(number: int) -> RecordedBlock:
        hours = number / 60
        # A quarter of a degree a day, as a thermostat holds it, then half a degree an hour.
        value = 25.5 + 0.15 * np.sin(hours * 3.0) if hours < 80 else 25.3 - 0.5 * (hours - 80)
        observed_us = START_US + number * MINUTE_US
        block = Block(np.array([observed_us]), np.array([round(value, 2)]), np.array([0]))
        return RecordedBlock(
            number, observed_us + 1_000_000, None, observed_us + 1_000_000, block, np.zeros(1, np.uint8), ()
        )

    def danger_at_us(*versions: HeatVersion) -> int:
        judge = Judge(Engine(rules), {})
        judge.replay((falling(number) for number in range(0, 80 * 60 + 20, 5)), versions)
        told = []
        for number in range(80 * 60 + 20, 84 * 60, 5):
            block = falling(number)
            if not judge.is_live:
                told += judge.catch_up(block.engine_us).events
            entry = (int(block.block.times_us[0]), 0, float(block.block.values[0]), 0, 0, b"")
            told += judge.judge([entry], block.engine_us).events
        found = [
            one for one in told if isinstance(one, AlarmRaised) and one.alarm.cause == "heater_failed_off"
        ]
        assert found
        assert found[0].evidence.danger_at_us is not None
        return found[0].evidence.danger_at_us

    slow, quick = (HeatModel(14.0, 0.05, (0.0,) * 24, time_constant_hours=tau) for tau in (60.0, 15.0))
    early_us, late_us = START_US + 1, START_US + 70 * 60 * MINUTE_US
    as_slow, as_quick = (danger_at_us(HeatVersion(early_us, "reef", model)) for model in (slow, quick))
    # Water that loses the same now falls on longer the slower the tank is.
    assert as_slow < as_quick
    changed = [HeatVersion(early_us, "reef", slow), HeatVersion(late_us, "reef", quick)]
    assert danger_at_us(*changed) == as_quick
    withdrawn = [HeatVersion(early_us, "reef", quick), HeatVersion(late_us, "reef", None)]
    assert danger_at_us(*withdrawn) == danger_at_us() != as_quick
