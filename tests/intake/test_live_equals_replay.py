"""Live equals the replay of what was recorded, to the microsecond, over kills, lost lines and works."""

from __future__ import annotations

import math
import random
from pathlib import Path

import pytest

from collector.learning import record, recorded_versions
from collector.replay import Replay
from rules import AlarmRaised, Learning, PlannedWork, TankRules, WeekProfile, fit_baseline
from tests.intake.parts import MINUTE, START_US, TEMPERATURE, Running

HOUR = 60 * MINUTE
HEATED = TankRules("reef", equipment=frozenset({"heater"}))


class Life:
    """A service that lives through everything at once, by chance; the clock of the test moves on."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.chance = random.Random(seed)
        self.running = Running(folder, interval_s=1.0, tank=HEATED)
        self.running.be_live()
        self.is_connected = True
        self.heat = 25.0
        self.fails_at_us = START_US + 20 * HOUR + self.chance.randrange(HOUR)
        self.works: list[PlannedWork] = []
        self.waiting: list[tuple[int, float]] = []

    def live(self, hours: float) -> None:
        end_us = START_US + round(hours * HOUR)
        while self.running.now_us < end_us:
            self.happen()
            self.running.pass_time(self.chance.uniform(5.0, 40.0), step_s=self.chance.uniform(0.3, 4.0))

    def happen(self) -> None:
        running, chance = self.running, self.chance
        now_us = running.now_us
        self.waiting.append((now_us - chance.randrange(200_000), self.water(now_us)))
        if not self.is_connected:
            if chance.random() < 0.1:
                running.line.connect(session_present=True)
                running.line.bring(*self.messages(), caught_up=chance.choice([0, 1]))
                running.rounds()
                self.is_connected = True
            return
        # Now and then a reading is on its way for so long that a step is taken without it.
        if chance.random() < 0.85:
            running.line.bring(*self.messages())
        if chance.random() < 0.5:
            running.line.bring(running.message("redox", f"{chance.uniform(250, 400):.0f}"))
        if chance.random() < 0.002:
            running.line.bring(running.message("sump/status", chance.choice(["offline", "online"])))
        if chance.random() < 0.001:
            begin_us = now_us + chance.randrange(10 * MINUTE)
            self.works.append(PlannedWork("reef", "water_change", begin_us, begin_us + 20 * MINUTE))
            running.intake.plan_work([one for one in self.works if one.forgotten_us > now_us])
        if chance.random() < 0.003:
            self.learn(now_us)
        if chance.random() < 0.003:
            running.line.lose()
            running.rounds()
            self.is_connected = False
        elif chance.random() < 0.003:
            # Killed: what was not committed comes again from the broker, as it would.
            self.running = running.again()
            self.running.be_live()

    def messages(self) -> list:
        found = [self.running.timed(round(value, 2), time_us) for time_us, value in self.waiting]
        self.waiting = []
        return found

    def water(self, now_us: int) -> float:
        """Held by a thermostat, until the heater fails; the probe shows nonsense now and then."""
        hours = (now_us - START_US) / HOUR
        if now_us < self.fails_at_us:
            value = 25.5 + 0.2 * math.sin(hours * 5.0)
        else:
            value = 25.4 - 0.4 * (now_us - self.fails_at_us) / HOUR
        if self.chance.random() < 0.002:
            return 28.5
        return value + self.chance.gauss(0.0, 0.01)

    def learn(self, now_us: int) -> None:
        running = self.running
        fitted = Learning(days=3)
        if self.chance.random() < 0.7:
            fitted = profile(25.5 + self.chance.uniform(-0.1, 0.1))
        learned = record(running.store, [(TEMPERATURE, fitted)], fitted_us=now_us, applies_from_us=now_us)
        running.intake.learn(learned, now_us)


def profile(level: float) -> WeekProfile:
    """What is usual where the water swings about a level, day by day."""
    import numpy as np

    starts_us = START_US - (14 * 24 * 4 - np.arange(14 * 24 * 4)) * 15 * MINUTE
    noise = np.random.default_rng(7).normal(0.0, 0.05, len(starts_us))
    values = level + 0.15 * np.sin(starts_us / HOUR * math.pi / 12.0) + noise
    fitted = fit_baseline(starts_us, values, "UTC", "temperature", ())
    assert isinstance(fitted, WeekProfile)
    return fitted


@pytest.mark.parametrize("seed", range(3))
def test_what_was_recorded_gives_the_same_alarms_and_incidents_again(tmp_path: Path, seed: int) -> None:
    life = Life(tmp_path, seed)
    try:
        life.live(30.0)
        running = life.running
        running.intake.finish()
        blocks = running.reader.recorded_blocks(running.ids, 0)
        versions = recorded_versions(running.reader, running.ids, 0)
        replayed = Replay(running.configuration).store(blocks, versions)
        live = running.reader.alarm_events(0, 2**62)
        # No empty comparison: the heater is told at least.
        raised = {one.alarm.cause for one in live if isinstance(one, AlarmRaised)}
        assert {"heater_failed_off", "heater_weak"} & raised
        assert list(replayed.alarms) == list(live)
        incidents = tuple(one.incident for one in reversed(running.reader.incidents()))
        assert replayed.incidents == incidents
    finally:
        life.running.close()
