"""A tank in a few lines, for the faults of heat and circulation: what would its probes show?

One stirred body of the assumptions of the scenario table (UA 20 W/K at 400 L, growing with the surface;
heater 1 W/L, equipment 0.15 W/L, evaporation 1 % a day, 25.5 degC in a room of 21; where there is a
chiller, 0.30 W/L, 0.5 % a day and a room of 30 degC; all of it common practice, no source). What happens to
it is a function of the hour, so a test says only what is odd.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from rules import (
    HOUR_US,
    AlarmRaised,
    AlarmReturned,
    Baseline,
    Block,
    Engine,
    EngineRules,
    HeatModel,
    LimitAlarm,
    PlannedWork,
    Priority,
    SeriesRules,
    TankRules,
    physics,
)
from tests.rules.faults.told import Told

MINUTE_US = HOUR_US // 60
START_US = 1_772_409_600_000_000  # 2026-03-02T00:00:00Z
SETPOINT = 25.5
CHILLED_AT = 26.8
HALF_HYSTERESIS = 0.15
# The fault begins here, in hours; three and a half days are known by then.
FAULT = 86.0

QUANTITIES = {
    "temperature": "temperature",
    "temperature_2": "temperature",
    "room_temperature": "temperature",
    "heater_power": "power",
    "chiller_power": "power",
    "return_pump_power": "power",
    "sump_level": "water_level",
}
DANGERS = tuple(
    LimitAlarm(setpoint, is_high, True, 0.2, 5 * MINUTE_US, 10 * MINUTE_US, Priority.URGENT)
    for setpoint, is_high in ((21.0, False), (30.0, True))
)


def always(value: float) -> Callable[[float], float]:
    """The same at every hour."""
    return lambda hour: value


def from_fault(value: float, before: float = 1.0) -> Callable[[float], float]:
    """One value until the fault, another from it on."""
    return lambda hour: value if hour >= FAULT else before


_NONE, _ALL, _USUAL = always(0.0), always(1.0), always(SETPOINT)


@dataclass(frozen=True)
class Plain:
    """What the tank is, and what happens to it at each hour."""

    volume: float = 400.0
    hours: float = FAULT + 12.0
    every_minutes: float = 5.0
    noise: float = 0.01
    resolution: float = 0.01
    is_chilled: bool = False
    # Share of heater and chiller that works, whether the heater is stuck, and what lamps give in W/L.
    heats: Callable[[float], float] = _ALL
    sticks: Callable[[float], float] = _NONE
    chills: Callable[[float], float] = _ALL
    setpoint: Callable[[float], float] = _USUAL
    room: Callable[[float], float] | None = None
    lamps: Callable[[float], float] = _NONE
    pump: Callable[[float], float] = _ALL
    # What cold or warm water adds, degC/h, and what is wrong in what the probe shows, degC.
    gains: Callable[[float], float] = _NONE
    shown: Callable[[float], float] = _NONE
    seed: int = 1

    def live(self) -> tuple[np.ndarray, dict[str, np.ndarray]]:
        """Times and columns of every series."""
        volume, rng = self.volume, np.random.RandomState(self.seed)
        capacity = physics.heat_capacity(volume)
        loss = 20.0 * (volume / 400.0) ** (2 / 3)
        gives = volume * (0.30 if self.is_chilled else 0.15)
        takes = physics.evaporation_watts(volume * (0.005 if self.is_chilled else 0.01))
        room = self.room or always(30.0 if self.is_chilled else 21.0)
        step = self.every_minutes / 60.0
        count = int(self.hours / step)
        names = ("temperature", "heater_power", "chiller_power", "room_temperature", "return_pump_power")
        columns = {name: np.empty(count) for name in (*names, "sump_level")}
        now = CHILLED_AT if self.is_chilled else SETPOINT
        heating = chilling = False
        part = 12
        for row in range(count):
            for inner in range(part):
                hour = (row + inner / part) * step
                target = self.setpoint(hour)
                heating = now < target + (HALF_HYSTERESIS if heating else -HALF_HYSTERESIS)
                chilling = now > CHILLED_AT + (-HALF_HYSTERESIS if chilling else HALF_HYSTERESIS)
                heater = volume * self.heats(hour) * (1.0 if heating or self.sticks(hour) else 0.0)
                chiller = 2.0 * gives * self.chills(hour) * (1.0 if chilling and self.is_chilled else 0.0)
                watts = gives + heater - chiller - takes + self.lamps(hour) * volume
                watts += self.gains(hour) * capacity / 3600.0
                balance = physics.HeatBalance(capacity, loss, room(hour), watts)
                now = balance.temperature_after(step / part * 3600.0, now)
            columns["temperature"][row] = now + self.shown(hour)
            columns["heater_power"][row] = heater
            columns["chiller_power"][row] = chiller / 2.5
            columns["room_temperature"][row] = room(hour)
            columns["return_pump_power"][row] = 30.0 * self.pump(hour)
            columns["sump_level"][row] = 20.0 + 2.5 * (1.0 - self.pump(hour))
        level = columns["sump_level"]
        # A top-off's saw-tooth of half a centimetre every six hours.
        level += 0.25 - 0.5 * ((np.arange(count) * step / 6.0) % 1.0) + 0.03 * rng.standard_normal(count)
        shown = columns["temperature"] + self.noise * rng.standard_normal(count)
        columns["temperature"] = np.round(np.round(shown / self.resolution) * self.resolution, 6)
        times = START_US + (np.arange(1, count + 1) * step * HOUR_US).astype(np.int64) - MINUTE_US
        return times, columns


def listen(
    tank: Plain,
    series: tuple[str, ...] = ("temperature",),
    *,
    equipment: frozenset[str] = frozenset({"heater"}),
    changed: Mapping[str, np.ndarray] | None = None,
    baselines: Mapping[int, Baseline] | None = None,
    model: HeatModel | None = None,
    settings: Mapping[str, Mapping[str, float]] | None = None,
    works: Iterable[PlannedWork] = (),
) -> Told:
    """Let an engine hear some of the series of a tank, hour by hour."""
    times, columns = tank.live()
    columns |= dict(changed or {})
    rules = EngineRules(
        (TankRules("reef", "UTC", tank.volume, equipment, settings or {}),),
        tuple(
            SeriesRules("reef", name, QUANTITIES[name], limit_alarms=DANGERS if name == "temperature" else ())
            for name in series
        ),
    )
    engine = Engine(rules, baselines)
    if model is not None:
        engine.set_models({"reef": model})
    engine.plan_work(works)
    told = Told()
    count = len(times)
    order = np.argsort(np.repeat(times, len(series)) + np.tile(np.arange(len(series)), count), kind="stable")
    every = Block(
        np.repeat(times, len(series))[order],
        np.column_stack([columns[name] for name in series]).ravel()[order],
        np.tile(np.arange(len(series)), count)[order],
    )
    for event in engine.advance(every).events:
        hours = (event.at_us - START_US) / HOUR_US - FAULT
        if isinstance(event, AlarmRaised):
            told.raised.append((hours, event))
        elif isinstance(event, AlarmReturned):
            told.returned.append((hours, event))
    return told
