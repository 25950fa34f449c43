"""A simulated reef tank: heat, water, pH and the probes in it, the same for the same seed.

The heat is that of `rules.physics`: one well-stirred body, heater, equipment, lights and evaporation against
a room. It answers what the truth is and what the probes show at any later instant. Everything random is drawn
from streams that numpy keeps unchanged for ever (RandomState), one per series, so that a recording can
be made again byte for byte and one more probe changes none of the others.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from types import MappingProxyType
from zoneinfo import ZoneInfo

import numpy as np

from collector.simulation.faults import (
    HeaterFailedOff,
    HeaterStuckOn,
    HeaterWeak,
    Leak,
    ProbeDrifting,
    ProbeDry,
    ProbeNoisy,
    ProbeSilent,
    ProbeStuck,
    SimulatedFault,
    TopOffFailed,
    TopOffStuckOn,
    is_active,
)
from collector.simulation.probes import PROBES, Probe
from collector.simulation.thermostat import Thermostat
from collector.simulation.water import WaterBalance
from rules import HOUR_US, MICROSECONDS, FloatArray, IntArray, physics

_DAY_US = 24 * HOUR_US
# The thermostat cuts in within 0.002 degC of its edge at this step, below what the probe resolves.
_STEP_US = 10 * MICROSECONDS
# Specific heat capacity of fresh water at 25 degC, 4.18 kJ/(kg K): what top-off water needs to be warmed.
_HEAT_PER_LITRE_FRESH = 4180.0 * physics.FRESH_WATER_KG_PER_LITRE  # J/(L K)


@dataclass(frozen=True, slots=True)
class TankSettings:
    """What the tank is made of. The defaults are a mixed reef of 400 L in a heated room.

    Common practice, no source, for all of them: heater 1 W/L, equipment 0.15 W/L into the water, loss
    20 W/K, evaporation 1 % of the volume a day, hysteresis 0.3 K.

    `lights_on` and `lights_off` are hours of the local day; `room_swing` is half the room's day cycle,
    lowest at five in the morning; `room_wander` is how far one day's room differs from the next.
    `refill_every_days` tops up the reservoir in the evening so that it never runs dry, 0 for never.
    """

    time_zone: str = "UTC"
    volume_litres: float = 400.0
    practical_salinity: float = 35.0
    setpoint: float = 25.5
    hysteresis: float = 0.3
    heater_watts: float = 400.0
    equipment_watts: float = 60.0
    lights_watts: float = 100.0
    loss_watts_per_kelvin: float = 20.0
    room: float = 21.0
    room_swing: float = 1.0
    room_wander: float = 0.3
    evaporation_per_day: float = 0.01
    return_section_m2: float = 0.18
    level_cm: float = 22.0
    top_off_band_cm: float = 0.3
    top_off_litres_per_hour: float = 12.0
    reservoir_litres: float = 40.0
    refill_every_days: int = 7
    lights_on: float = 9.0
    lights_off: float = 21.0
    ph_light: float = 8.40
    ph_dark: float = 7.95
    ph_hours: float = 9.0
    probes: Mapping[str, Probe] = field(default_factory=lambda: MappingProxyType(PROBES))


@dataclass(frozen=True, slots=True)
class Recording:
    """What the probes showed: `times_us` of shape (n,), and by series a column of shape (n,).

    NaN where a probe showed nothing.
    """

    times_us: IntArray
    columns: Mapping[str, FloatArray]


class SimulatedTank:
    """A tank that runs from `start_us`, forwards only.

    Parameters
    ----------
    settings
        What it is made of.
    seed
        Same seed, same tank, same readings.
    start_us
        Where it starts, microseconds since 1970 UTC.
    faults
        What goes wrong, and when.
    """

    def __init__(
        self, settings: TankSettings, *, seed: int, start_us: int, faults: Sequence[SimulatedFault] = ()
    ) -> None:
        self.settings = settings
        self.now_us = start_us
        self.faults = list(faults)
        self._seed = seed
        self._zone = ZoneInfo(settings.time_zone)
        self._offset_hour = -1
        self._offset_us = 0
        self._thermostat = Thermostat(settings.setpoint, settings.hysteresis)
        self._capacity = physics.heat_capacity(
            settings.volume_litres, settings.practical_salinity, settings.setpoint
        )
        self._watts_per_litre_a_day = physics.evaporation_watts(1.0, settings.setpoint)
        self._draws = {name: self._stream(name) for name in settings.probes}
        self._wander: dict[int, float] = {}
        self._shown: dict[str, float] = {}
        self.temperature = settings.setpoint
        self.heater_watts = 0.0
        self.wants_heat = False
        self.wants_water = False
        self.is_pumping = False
        self.water = WaterBalance(
            settings.volume_litres,
            settings.practical_salinity,
            settings.return_section_m2,
            settings.reservoir_litres,
            settings.level_cm,
        )
        self.ph = self._settled_ph(start_us)

    def advance_to(self, time_us: int) -> None:
        """Let time pass up to an instant; an earlier one than now changes nothing."""
        while self.now_us < time_us:
            # Steps end on a grid of their own, so how often the tank is asked changes nothing.
            end_us = min(time_us, (self.now_us // _STEP_US + 1) * _STEP_US)
            self._step((end_us - self.now_us) / MICROSECONDS)
            self.now_us = end_us

    def read(self) -> dict[str, float]:
        """What each probe shows now; a silent probe is left out."""
        truth = self.truth()
        shown: dict[str, float] = {}
        for name, probe in self.settings.probes.items():
            # Drawn also for silent and stuck probes: a fault in one moment changes no later one.
            value = self._show(name, probe, truth[name], float(self._draws[name].standard_normal()))
            if value is not None:
                self._shown[name] = shown[name] = value
        return shown

    def _show(self, name: str, probe: Probe, truth: float, deviate: float) -> float | None:
        """What a probe shows with all that is wrong with it, None for nothing."""
        for fault in self.faults:
            if getattr(fault, "series", None) != name or not is_active(fault, self.now_us):
                continue
            match fault:
                case ProbeSilent():
                    return None
                case ProbeStuck() if name in self._shown:
                    return self._shown[name]
                case ProbeDry():
                    truth = 0.0
                    deviate = abs(deviate)
                case ProbeNoisy():
                    deviate *= fault.times
                case ProbeDrifting():
                    truth += fault.per_day * (self.now_us - fault.from_us) / _DAY_US
        return probe.read(truth, deviate)

    def truth(self) -> dict[str, float]:
        """What a perfect probe would show now, by series."""
        return {
            "temperature": self.temperature,
            "ph": self.ph,
            "practical_salinity": self.water.practical_salinity,
            "reservoir": self.water.reservoir_litres,
            "heater_power": self.heater_watts,
            "room_temperature": self.room_temperature(self.now_us),
            "sump_level": self.water.level_cm,
            "top_off": float(self.is_pumping),
        }

    def record(self, to_us: int, every_us: int) -> Recording:
        """Run on and read all probes at every multiple of `every_us` from now up to, not at, `to_us`."""
        first_us = -(-self.now_us // every_us) * every_us
        times_us = np.arange(first_us, to_us, every_us, dtype=np.int64)
        columns = {name: np.full(len(times_us), np.nan) for name in self.settings.probes}
        for row, time_us in enumerate(times_us.tolist()):
            self.advance_to(time_us)
            for name, value in self.read().items():
                columns[name][row] = value
        return Recording(times_us, columns)

    def room_temperature(self, time_us: int) -> float:
        """The room, degC: a day cycle lowest at five in the morning, and days that differ."""
        settings = self.settings
        day, hour = self._local(time_us)
        share = hour / 24.0
        wander = self._day_wander(day) * (1.0 - share) + self._day_wander(day + 1) * share
        return settings.room - settings.room_swing * math.cos((hour - 5.0) / 12.0 * math.pi) + wander

    def _step(self, seconds: float) -> None:
        settings = self.settings
        active = [fault for fault in self.faults if is_active(fault, self.now_us)]
        _, hour = self._local(self.now_us)
        has_light = settings.lights_on <= hour < settings.lights_off
        evaporated = self._evaporate(seconds)
        pumped = self._top_off(seconds, active)
        for fault in active:
            if isinstance(fault, Leak):
                self.water.leak(fault.litres_per_hour * seconds / 3600.0)
        self.wants_heat = gets_heat = self._thermostat.decide(self.temperature)
        for fault in active:
            if isinstance(fault, HeaterFailedOff):
                gets_heat = False
            elif isinstance(fault, HeaterStuckOn):
                gets_heat = True
        self.heater_watts = settings.heater_watts if gets_heat else 0.0
        for fault in active:
            if isinstance(fault, HeaterWeak):
                self.heater_watts *= fault.share
        room = self.room_temperature(self.now_us)
        watts = self.heater_watts + settings.equipment_watts + settings.lights_watts * has_light
        watts -= self._watts_per_litre_a_day * evaporated * 86400.0 / seconds
        watts -= pumped / seconds * _HEAT_PER_LITRE_FRESH * (self.temperature - room)
        balance = physics.HeatBalance(self._capacity, settings.loss_watts_per_kelvin, room, watts)
        self.temperature = balance.temperature_after(seconds, self.temperature)
        self.ph += (self._ph_target(has_light) - self.ph) * -math.expm1(-seconds / 3600 / settings.ph_hours)

    def _evaporate(self, seconds: float) -> float:
        litres = self.settings.volume_litres * self.settings.evaporation_per_day * seconds / 86400.0
        self.water.evaporate(litres)
        return litres

    def _top_off(self, seconds: float, active: Sequence[SimulatedFault]) -> float:
        settings = self.settings
        self._refill(seconds)
        below_cm = settings.level_cm - self.water.level_cm
        if below_cm >= settings.top_off_band_cm:
            self.wants_water = True
        elif below_cm <= 0.0:
            self.wants_water = False
        self.is_pumping = self.wants_water
        for fault in active:
            if isinstance(fault, TopOffFailed):
                self.is_pumping = False
            elif isinstance(fault, TopOffStuckOn):
                self.is_pumping = True
        if not self.is_pumping:
            return 0.0
        return self.water.top_off(settings.top_off_litres_per_hour * seconds / 3600.0)

    def _refill(self, seconds: float) -> None:
        every = self.settings.refill_every_days
        day, hour = self._local(self.now_us)
        # At 18:30 on one day in `every`: when somebody is at home.
        if every and day % every == 0 and hour < 18.5 <= hour + seconds / 3600.0:
            self.water.reservoir_litres = self.settings.reservoir_litres

    def _ph_target(self, has_light: bool) -> float:
        return self.settings.ph_light if has_light else self.settings.ph_dark

    def _settled_ph(self, time_us: int) -> float:
        """The pH of a tank that has lived through many such days, at this hour."""
        settings = self.settings
        lit = (settings.lights_off - settings.lights_on) / settings.ph_hours
        dark = 24.0 / settings.ph_hours - lit
        gap = settings.ph_light - settings.ph_dark
        # Periodic solution of two exponentials: the pH when the lights go on.
        at_dawn = settings.ph_dark + gap * -math.expm1(-lit) * math.exp(-dark) / -math.expm1(-lit - dark)
        _, hour = self._local(time_us)
        since = (hour - settings.lights_on) % 24.0 / settings.ph_hours
        if since <= lit:
            return settings.ph_light + (at_dawn - settings.ph_light) * math.exp(-since)
        at_dusk = settings.ph_light + (at_dawn - settings.ph_light) * math.exp(-lit)
        return settings.ph_dark + (at_dusk - settings.ph_dark) * math.exp(lit - since)

    def _local(self, time_us: int) -> tuple[int, float]:
        """Number of the local day since 1970, and the hour of it."""
        hour = time_us // HOUR_US
        if hour != self._offset_hour:
            at = datetime.fromtimestamp(hour * 3600, UTC).astimezone(self._zone)
            self._offset_us = (at.utcoffset() or timedelta()) // timedelta(microseconds=1)
            self._offset_hour = hour
        day, rest = divmod(time_us + self._offset_us, _DAY_US)
        return day, rest / HOUR_US

    def _day_wander(self, day: int) -> float:
        if day not in self._wander:
            draw = float(self._stream(f"room of day {day}").standard_normal())
            self._wander[day] = self.settings.room_wander * max(-2.0, min(2.0, draw))
        return self._wander[day]

    def _stream(self, name: str) -> np.random.RandomState:
        return np.random.RandomState([self._seed, zlib.crc32(name.encode())])
