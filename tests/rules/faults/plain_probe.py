"""Probes of a plain tank, for the faults of probes: what do they show while nothing or one thing is wrong?

Courses, noise and last digits are common practice, no source: a thermostat's cycle of 90 minutes, pH that
follows the light, a top-off's saw-tooth of half a centimetre in six hours. What goes wrong is a function of
the hours since `FAULT` and of what was shown.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from rules import (
    HOUR_US,
    AlarmRaised,
    AlarmReturned,
    Band,
    Baseline,
    Block,
    Engine,
    EngineRules,
    FlatLineLimits,
    SeriesRules,
    TankRules,
)
from tests.rules.faults.told import Told

START_US = 1_772_409_600_000_000  # 2026-03-02T00:00:00Z
MINUTE_US = HOUR_US // 60
# Hours of quiet before anything is odd: four days are known by then.
FAULT = 96.0
QUANTITIES = {
    "temperature": "temperature",
    "temperature_2": "temperature",
    "room_temperature": "temperature",
    "ph": "ph",
    "practical_salinity": "practical_salinity",
    "sump_level": "water_level",
    # Two gauges: neither is taken for a sump.
    "gauge": "water_level",
    "gauge_2": "water_level",
}
BASIC = ("temperature", "ph", "practical_salinity", "sump_level")
NOISE = {"ph": 0.008, "practical_salinity": 0.03, "sump_level": 0.06, "room_temperature": 0.05}
DIGITS = {"ph": 0.001}
# Half the width of what is usual.
HALF = {"temperature": 0.35, "ph": 0.2, "practical_salinity": 0.3, "sump_level": 0.6, "room_temperature": 1.5}
HALF["gauge"] = 1.5
Wrong = Callable[[np.ndarray, np.ndarray], np.ndarray]


def hours_of(hours: float, every: int) -> np.ndarray:
    """The hour of each reading."""
    return np.arange(0, int(hours * 60), every) / 60.0


def water(name: str, hour: np.ndarray) -> np.ndarray:
    """What is true of the tank, or of the room."""
    day = 2.0 * np.pi * hour / 24.0
    kind = name.removesuffix("_2")
    if kind == "temperature":
        return 25.5 + 0.12 * np.sin(2.0 * np.pi * hour / 1.5) + 0.05 * np.sin(day)
    if kind == "ph":
        return 8.2 + 0.12 * np.sin(day)
    if kind == "practical_salinity":
        return 35.0 + 0.05 * np.sin(day)
    if kind == "sump_level":
        return 20.25 - 0.5 * ((hour / 6.0) % 1.0)
    return 21.0 + np.sin(day)


def shown(name: str, hour: np.ndarray, *, seed: int = 1, noise: float | None = None) -> np.ndarray:
    """What a good probe shows of it, before its last digit."""
    rng = np.random.default_rng([seed, *name.encode()])
    size = NOISE.get(name, 0.02) if noise is None else noise
    return water(name, hour) + size * rng.standard_normal(len(hour))


def rounded(name: str, values: np.ndarray, digit: float | None = None) -> np.ndarray:
    """To the probe's last digit."""
    step = DIGITS.get(name, 0.01) if digit is None else digit
    return np.round(np.round(values / step) * step, 6)


class Usual:
    """A baseline that knows the day of a quantity."""

    def __init__(self, name: str, half: float | None = None, swing: float | None = None) -> None:
        self.name = name
        self.half = HALF[name.removesuffix("_2")] if half is None else half
        self.swing = {"ph": 0.12, "temperature": 0.05}.get(name, 0.0) if swing is None else swing

    def _centre(self, time_us: float) -> float:
        middle = {"temperature": 25.5, "ph": 8.2, "practical_salinity": 35.0, "sump_level": 20.0}
        day = 2.0 * np.pi * (time_us - START_US) / (24.0 * HOUR_US)
        return float(middle.get(self.name.removesuffix("_2"), 21.0) + self.swing * np.sin(day))

    def band_at(self, time_us: int) -> Band:
        centre = self._centre(time_us)
        return Band(centre - self.half, centre, centre + self.half)

    def expect(self, times_us: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        centres = np.array([self._centre(time_us) for time_us in times_us])
        return centres - self.half, centres + self.half


def hear(
    wrong: Mapping[str, Wrong] | None = None,
    names: tuple[str, ...] = BASIC,
    *,
    hours: float = FAULT + 24.0,
    every: int = 1,
    seed: int = 1,
    learns: bool = False,
    baselines: Mapping[str, Baseline] | None = None,
    equipment: frozenset[str] = frozenset({"heater", "top_off"}),
    noise: float | None = None,
    digits: Mapping[str, float] | None = None,
    flat_line: FlatLineLimits | None = None,
    whole: bool = False,
) -> Told:
    """Let the engine hear these probes.

    `wrong` maps hours since the fault and what was shown to what is shown instead: from the fault on, or
    over the whole record (`whole`).
    """
    hour = hours_of(hours, every)
    since = hour - FAULT
    columns = []
    for name in names:
        values = shown(name, hour, seed=seed, noise=noise)
        if wrong is not None and name in wrong:
            odd = wrong[name](np.maximum(since, 0.0), values)
            values = odd if whole else np.where(since >= 0.0, odd, values)
        columns.append(rounded(name, values, (digits or {}).get(name)))
    rules = EngineRules(
        (TankRules("reef", "UTC", 400.0, equipment),),
        tuple(SeriesRules("reef", name, QUANTITIES[name], flat_line=flat_line) for name in names),
    )
    known = {} if learns else {name: Usual(name) for name in names} | dict(baselines or {})
    engine = Engine(rules, {names.index(name): one for name, one in known.items()})
    count = len(hour)
    times = np.repeat(START_US + (hour * HOUR_US).astype(np.int64), len(names))
    times += np.tile(np.arange(len(names)), count)
    where = np.tile(np.arange(len(names)), count)
    told = Told()
    for event in engine.advance(Block(times, np.stack(columns, axis=1).ravel(), where)).events:
        if isinstance(event, AlarmRaised):
            told.raised.append(((event.at_us - START_US) / HOUR_US - FAULT, event))
        elif isinstance(event, AlarmReturned):
            told.returned.append(((event.at_us - START_US) / HOUR_US - FAULT, event))
    return told


def for_hours(hours: float, value: float) -> Wrong:
    """This value for so long, and then what is shown."""
    return lambda since, values: np.where(since < hours, value, values)


def always(value: float) -> Wrong:
    """This value from now on."""
    return lambda since, values: np.full_like(values, value)
