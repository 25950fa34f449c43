"""A tank with every role that goes through all that can happen, for days; no water that ever was.

Series wander, jump, stick and fall silent so that as many faults as can be are found, lost and found again,
and boards send late and in batches.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from rules import (
    FAULTS,
    HOUR_US,
    ROLES,
    Band,
    Block,
    ClimatologyLimits,
    CompanionLimits,
    EngineRules,
    FlatLineLimits,
    GapLimits,
    LimitAlarm,
    Priority,
    RateAlarm,
    SeriesRules,
    SpikeLimits,
    TankRules,
)

MINUTE_US = HOUR_US // 60
DELAY_US = 5 * MINUTE_US
START_US = 1_772_409_600_000_000
USUAL = {
    "temperature": (25.0, 0.4, 0.02),
    "ph": (8.2, 0.15, 0.01),
    "practical_salinity": (35.0, 0.3, 0.02),
    "water_level": (20.0, 1.0, 0.05),
    "volume": (15.0, 2.0, 0.05),
    "power": (80.0, 60.0, 2.0),
    "contact": (0.0, 0.0, 0.0),
}
NEIGHBORS = {"temperature": "temperature_2", "temperature_2": "temperature"}
EQUIPMENT = frozenset().union(*(fault.equipment for fault in FAULTS.values()))


class Usual:
    """A baseline that stays the same all day."""

    def __init__(self, quantity: str) -> None:
        centre, swing, _ = USUAL[quantity]
        self._band = Band(centre - swing / 2, centre, centre + swing / 2)

    def band_at(self, time_us: int) -> Band:
        return self._band

    def expect(self, times_us):
        return np.full(len(times_us), self._band.low), np.full(len(times_us), self._band.high)


def rules() -> EngineRules:
    series = []
    for role in ROLES.values():
        centre, swing, _ = USUAL[role.quantities[0]]
        alarms = tuple(
            LimitAlarm(
                centre + side * 4 * swing,
                side > 0,
                False,
                swing / 5,
                5 * MINUTE_US,
                5 * MINUTE_US,
                Priority.HIGH,
            )
            for side in (-1, 1)
            if swing
        )
        series.append(
            SeriesRules(
                "reef",
                role.name,
                role.quantities[0],
                flat_line=FlatLineLimits(0.0, 2 * HOUR_US, 4 * HOUR_US),
                gap=GapLimits(15 * MINUTE_US),
                spike=SpikeLimits(swing, 3 * swing) if swing else None,
                climatology=ClimatologyLimits(),
                neighbor=CompanionLimits(NEIGHBORS[role.name]) if role.name in NEIGHBORS else None,
                multivariate=CompanionLimits("temperature") if role.name == "ph" else None,
                limit_alarms=alarms,
                rate_alarm=RateAlarm(4 * swing, HOUR_US, DELAY_US, DELAY_US, Priority.LOW) if swing else None,
            )
        )
    tank = TankRules("reef", volume_litres=400.0, equipment=EQUIPMENT)
    return EngineRules((tank,), tuple(series))


@lru_cache(maxsize=4)
def stream(seed: int, days: int) -> Block:
    """Readings in their order of arrival."""
    chance = np.random.default_rng(seed)
    columns = []
    for index, role in enumerate(ROLES.values()):
        centre, swing, noise = USUAL[role.quantities[0]]
        every_us = int(chance.choice([MINUTE_US, MINUTE_US, 2 * MINUTE_US, 5 * MINUTE_US, 12 * MINUTE_US]))
        times = START_US + int(chance.integers(0, every_us)) + np.arange(0, days * 24 * HOUR_US, every_us)
        drift = np.zeros(len(times))
        # A few hours each: as usual, moving off, back, sticking, noisy, silent.
        place, level = 0, 0.0
        keeps = np.ones(len(times), bool)
        scatter = np.ones(len(times))
        while place < len(times):
            size = int(chance.integers(2, 9) * HOUR_US // every_us) + 1
            piece = slice(place, place + size)
            count = len(drift[piece])
            what = chance.choice(["usual", "usual", "off", "off", "back", "stuck", "noisy", "silent"])
            target = {"off": float(chance.normal(0, 3 * swing)), "back": 0.0}.get(str(what), level)
            drift[piece] = np.linspace(level, target, count)
            level = target
            scatter[piece] = {"stuck": 0.0, "noisy": 20.0}.get(str(what), 1.0)
            keeps[piece] = what != "silent"
            place += size
        values = centre + drift + scatter * chance.normal(0, noise, len(times)) if swing else drift
        if role.name == "floor_contact":
            values = (chance.random(len(times)) < 0.001).astype(float)
        # Boards send after a moment, some of them in batches, now and then much later.
        sent = times + chance.integers(0, 3_000_000, len(times))
        if chance.random() < 0.3:
            batch_us = int(chance.choice([10, 25])) * MINUTE_US
            sent = np.maximum(sent, times // batch_us * batch_us + batch_us)
        columns.append((sent[keeps], times[keeps], values[keeps], np.full(int(keeps.sum()), index)))
    sent, times, values, series = (np.concatenate(column) for column in zip(*columns, strict=True))
    order = np.argsort(sent, kind="stable")
    return Block(times[order].astype(np.int64), values[order], series[order].astype(np.int64))


def baselines() -> dict[int, Usual]:
    return {
        index: Usual(role.quantities[0])
        for index, role in enumerate(ROLES.values())
        if role.quantities[0] != "contact"
    }


def part(block: Block, start: int, end: int) -> Block:
    return Block(block.times_us[start:end], block.values[start:end], block.series[start:end])
