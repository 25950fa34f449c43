"""A plain tank of water for the tests of its faults: conservation of mass and salt, a top-off with two marks.

S2 = S1 m1 / m2; the numbers of the standard tank (400 L, 0.18 m2, 1 % a day: 4 L/day, 0.93 mm/h, 5.56 mm a
litre) are common practice and arithmetic. It is computed here from scratch, not by the project's physics.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from rules import (
    HOUR_US,
    AlarmRaised,
    Block,
    Engine,
    EngineRules,
    LimitAlarm,
    Priority,
    SeriesRules,
    TankRules,
)
from tests.rules.faults.told import Told

START_US = 1_772_409_600_000_000  # 2026-03-02T00:00:00Z, a Monday
MINUTE_US = HOUR_US // 60
# Hours of quiet before the fault: what is usual must be known.
FAULT = 96.0
FRESH, SALT = 0.997, 1.0233  # kg/L at 25 degC, and at S 35
QUANTITIES = {
    "sump_level": "water_level",
    "practical_salinity": "practical_salinity",
    "ph": "ph",
    "reservoir": "volume",
    "top_off_power": "power",
    "return_pump_power": "power",
    "floor_contact": "contact",
    "reactor_ph": "ph",
}
BASIC = ("sump_level", "practical_salinity", "ph")
ALL = (*BASIC, "reservoir", "top_off_power", "return_pump_power", "floor_contact")
DANGER = {"practical_salinity": (30.0, 40.0), "ph": (7.4, 8.9)}
Course = Callable[[float], float]


def never(_: float) -> float:
    return 0.0


def always(_: float) -> float:
    return 1.0


def from_fault(value: float, before: float = 0.0) -> Course:
    return lambda hour: value if hour >= FAULT else before


def between(first: float, last: float, value: float, otherwise: float = 0.0) -> Course:
    """A value from so many hours behind `FAULT` to so many."""
    return lambda hour: value if first <= hour - FAULT < last else otherwise


@dataclass(frozen=True)
class Water:
    """What happens, each a function of the hour: litres an hour, or a share of the pump and the return."""

    volume: float = 400.0
    a_day: float = 0.01
    band_cm: float = 0.5
    pump: float = 8.0
    hours: float = FAULT + 24.0
    leak: Course = never
    dribble: Course = never
    taken: Course = never
    given: Course = never
    pump_works: Course = always
    pump_forced: Course = never
    is_automatic: bool = True
    returns: Course = always
    salt_offset: Course = never
    reservoir: float = 60.0
    every_minutes: int = 1
    noise: Mapping[str, float] = field(
        default_factory=lambda: {
            "sump_level": 0.03,
            "practical_salinity": 0.02,
            "ph": 0.01,
            "reservoir": 0.05,
        }
    )
    seed: int = 1

    @property
    def area(self) -> float:
        return float(0.18 * (self.volume / 400.0) ** (2.0 / 3.0))

    def columns(self) -> dict[str, np.ndarray]:
        minutes = int(self.hours * 60)
        names = ("sump_level", "practical_salinity", "reservoir", "top_off_power", "return_pump_power")
        out = {name: np.empty(minutes) for name in names}
        full = water = self.volume * SALT
        salt, reservoir, filling, drained = 35.0 * water, self.reservoir, False, 0.0
        per_minute = self.volume * self.a_day / 1440.0
        for minute in range(minutes):
            hour = minute / 60.0
            level = 22.0 + ((water - full) / FRESH + drained) / self.area / 10.0
            filling = level <= 22.0 - self.band_cm or (filling and level < 22.0)
            runs = self.is_automatic and (
                self.pump_forced(hour) > 0.0 or (filling and self.pump_works(hour) > 0.0)
            )
            fresh = (self.pump / 60.0 if runs else 0.0) + self.dribble(hour) / 60.0
            fresh = min(fresh, reservoir)
            reservoir -= fresh
            if not self.is_automatic and hour % 24.0 == 21.0 and level < 22.0:
                fresh = (22.0 - level) * self.area * 10.0
            water += (fresh - per_minute) * FRESH
            lost = (self.leak(hour) + self.taken(hour)) / 60.0 * SALT
            salt -= salt / water * lost
            water -= lost
            water += self.given(hour) / 60.0 * SALT
            salt += self.given(hour) / 60.0 * SALT * 35.0
            drained += (8.0 * (1.0 - self.returns(hour)) - drained) * 0.4
            out["sump_level"][minute] = max(0.0, level)
            out["practical_salinity"][minute] = salt / water + self.salt_offset(hour)
            out["reservoir"][minute] = reservoir
            out["top_off_power"][minute] = 8.0 if runs else 0.0
            out["return_pump_power"][minute] = 30.0 * self.returns(hour)
        out["ph"] = 8.1 + 0.15 * np.sin(np.arange(minutes) / 720.0 * np.pi)
        out["floor_contact"] = np.zeros(minutes)
        return out

    def shown(self, names: tuple[str, ...]) -> dict[str, np.ndarray]:
        rng = np.random.default_rng(self.seed)
        columns = self.columns()
        return {
            name: np.round(
                columns[name] + self.noise.get(name, 0.0) * rng.standard_normal(len(columns[name])), 2
            )
            for name in names
        }


def listen(
    water: Water,
    names: tuple[str, ...] = BASIC,
    *,
    equipment: frozenset[str] = frozenset({"top_off"}),
    columns: dict[str, np.ndarray] | None = None,
    faults: Mapping[str, Mapping[str, float]] | None = None,
) -> Told:
    """Let the engine hear it, once a minute or as the tank says."""
    shown = water.shown(names) if columns is None else columns
    return hear(shown, water.volume, water.every_minutes, equipment=equipment, faults=faults or {})


def hear(
    shown: Mapping[str, np.ndarray],
    volume: float = 400.0,
    every: int = 1,
    *,
    equipment: frozenset[str] = frozenset({"top_off"}),
    faults: Mapping[str, Mapping[str, float]] | None = None,
) -> Told:
    """Let the engine hear columns of one value a minute."""
    names = tuple(shown)
    series = tuple(SeriesRules("reef", name, QUANTITIES[name], limit_alarms=_dangers(name)) for name in names)
    tank = TankRules("reef", volume_litres=volume, equipment=equipment, faults=faults or {})
    engine = Engine(EngineRules((tank,), series))
    minutes = np.arange(0, len(shown[names[0]]), every)
    times = np.repeat(START_US + minutes * MINUTE_US, len(names)) + np.tile(
        np.arange(len(names)), len(minutes)
    )
    values = np.stack([shown[name][minutes] for name in names], axis=1).ravel()
    where = np.tile(np.arange(len(names)), len(minutes))
    events = engine.advance(Block(times.astype(np.int64), values, where)).events
    events += engine.advance_to(int(times[-1]) + MINUTE_US)
    return Told(
        [
            ((event.at_us - START_US) / HOUR_US - FAULT, event)
            for event in events
            if isinstance(event, AlarmRaised)
            and event.alarm.cause not in ("under_danger_line", "over_danger_line")
        ]
    )


def _dangers(name: str) -> tuple[LimitAlarm, ...]:
    if name not in DANGER:
        return ()
    low, high = DANGER[name]
    return tuple(
        LimitAlarm(line, is_high, True, 0.1, 10 * MINUTE_US, 15 * MINUTE_US, Priority.URGENT)
        for line, is_high in ((low, False), (high, True))
    )
