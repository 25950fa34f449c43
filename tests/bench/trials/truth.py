"""The truth of a tank, minute by minute: heat, water, salt and pH by conservation. What happens in the water?

    C dT/dt = P - UA (T - T_room) - Q_evaporation          S2 = S1 m1 / m2

Whatever acts on the tank (room, lamps, a fault, a water change) is a column of `Drivers`, so the loop below
knows no faults. Sources as in `worlds`; limewater by the closed-system table of [7], relaxing to the room's
CO2 with the tank's own pH time constant [own].
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np

from rules import physics
from tests.bench.trials.worlds import DAY_MINUTES, MINUTE_US, World

Column = np.ndarray
# Warming a litre of fresh water by a degree: 4.18 kJ/(kg K) at 25 degC.
_FRESH_HEAT = 4180.0 * physics.FRESH_WATER_KG_PER_LITRE
# Part of the water in the sump, and what still passes between the two when the return stands [own].
SUMP_SHARE = 0.2
_STANDING_EXCHANGE_PER_MINUTE = 0.0003


@dataclass(slots=True)
class State:
    """Where a tank stands: enough to go on from."""

    temperature: float
    sump_temperature: float
    water_kg: float
    salt: float
    ph: float
    reservoir: float
    drained: float = 0.0
    lime_ph: float = 0.0
    is_heating: bool = False
    is_cooling: bool = False
    is_filling: bool = False


@dataclass(slots=True)
class Drivers:
    """What acts on a tank, one value a minute, all of shape (n,)."""

    start_us: int
    local_hour: Column
    room: Column
    light: Column
    evaporation: Column  # L/min without a fan
    ph_shift: Column
    heater_gain: Column
    heater_forced: Column
    cooler_gain: Column
    pump_gain: Column
    pump_forced: Column
    pump_watts_gain: Column
    dribble: Column  # L/min of fresh water from the reservoir, past the pump
    leak: Column  # L/min of tank water
    return_on: Column
    mains: Column
    taken: Column  # L/min of tank water taken away by a person
    given: Column  # L/min of new salt water
    given_temperature: Column
    given_salinity: Column
    fresh_by_hand: Column  # L/min, as long as the level is low
    display_litres: Column  # L that the display lacks while the return stands
    refill: Column  # 1 where the reservoir is filled up
    reactor_ph: Column

    def __len__(self) -> int:
        return len(self.room)

    def minute(self, time_us: int) -> int:
        """Row of an instant."""
        return int((time_us - self.start_us) // MINUTE_US)


@dataclass(slots=True)
class Truth:
    """What perfect probes would show, by series, one value a minute; and the state at the end."""

    start_us: int
    columns: dict[str, Column] = field(default_factory=dict)
    end: State | None = None


def settled(world: World) -> State:
    """A tank that has just been filled, at its setpoint."""
    kilograms = world.volume * physics.SEAWATER_KG_PER_LITRE
    middle = (world.ph_light + world.ph_dark) / 2
    warm = world.cooler_setpoint if world.kind == "cooled" else world.setpoint
    return State(warm, warm, kilograms, 35.0 * kilograms, middle, world.reservoir)


def local_hours(start_us: int, minutes: int, zone: str) -> Column:
    """Hour of the clock on the wall for each minute."""
    hours = np.empty(minutes)
    where = ZoneInfo(zone)
    for first in range(0, minutes, 60):
        at = datetime.fromtimestamp((start_us + first * MINUTE_US) / 1e6, UTC).astimezone(where)
        last = min(first + 60, minutes)
        hours[first:last] = (at.hour + at.minute / 60.0 + np.arange(last - first) / 60.0) % 24.0
    return hours


def wander(rng: np.random.Generator, minutes: int, hours: float, size: float) -> Column:
    """A random walk drawn back to nothing (Ornstein-Uhlenbeck), on a grid of ten minutes."""
    count = minutes // 10 + 2
    keep = math.exp(-1.0 / 6.0 / hours)
    kicks = rng.standard_normal(count) * size * math.sqrt(1.0 - keep * keep)
    values = np.empty(count)
    now = rng.standard_normal() * size
    for i, kick in enumerate(kicks.tolist()):
        now = now * keep + kick
        values[i] = now
    return np.interp(np.arange(minutes), np.arange(count) * 10, values)


def quiet_drivers(world: World, start_us: int, minutes: int, rng: np.random.Generator) -> Drivers:
    """What acts on a tank on days on which nothing is wrong: room, lamps, evaporation, the daily feeding."""
    hour = local_hours(start_us, minutes, world.zone)
    room = world.room - world.room_swing * np.cos((hour - 5.0) / 12.0 * np.pi)
    room += wander(rng, minutes, 30.0, world.room_wander) + wander(rng, minutes, 2.0, 0.15)
    # Weather that lasts a week or two.
    room += wander(rng, minutes, 240.0, world.room_wander)
    # Lamps go up and down within half an hour.
    since = (hour - world.lights_on) % 24.0
    light = np.clip(np.minimum(since, world.lights_hours - since) / 0.5, 0.0, 1.0)
    evaporation = world.volume * world.share_a_day / DAY_MINUTES
    evaporation = evaporation * np.clip(1.0 + wander(rng, minutes, 12.0, 0.1), 0.5, 1.5)
    zeros, ones = np.zeros(minutes), np.ones(minutes)
    drivers = Drivers(
        start_us=start_us,
        local_hour=hour,
        room=room,
        light=light,
        evaporation=evaporation,
        # The air of a room that people live in: CO2 moves pH by some hundredths for hours [5].
        ph_shift=wander(rng, minutes, 6.0, 0.04),
        heater_gain=ones.copy(),
        heater_forced=zeros.copy(),
        cooler_gain=ones.copy(),
        pump_gain=ones.copy() if world.is_automatic else zeros.copy(),
        pump_forced=zeros.copy(),
        pump_watts_gain=ones.copy(),
        dribble=zeros.copy(),
        leak=zeros.copy(),
        return_on=ones.copy(),
        mains=ones.copy(),
        taken=zeros.copy(),
        given=zeros.copy(),
        given_temperature=np.full(minutes, 24.0),
        given_salinity=np.full(minutes, 35.0),
        fresh_by_hand=zeros.copy(),
        display_litres=zeros.copy(),
        refill=zeros.copy(),
        reactor_ph=6.55 + wander(rng, minutes, 4.0, 0.03),
    )
    first_day = start_us // (DAY_MINUTES * MINUTE_US)
    for day in range(minutes // DAY_MINUTES + 2):
        at = _row_of_hour(drivers, day, world.feeding_hour + 0.2 * float(rng.standard_normal()))
        if at is not None:
            drivers.return_on[at : at + world.feeding_minutes] = 0.0
        evening = _row_of_hour(drivers, day, 21.3)
        if evening is not None and (first_day + day) % 5 == world.seed % 5:
            drivers.refill[evening] = 1.0
        if evening is not None and not world.is_automatic:
            # By hand, every evening, what the day has taken.
            drivers.fresh_by_hand[evening : evening + 5] = 1.5 * world.daily_litres / 5.0
    return drivers


def _row_of_hour(drivers: Drivers, day: int, hour: float) -> int | None:
    """First row at an hour of the wall clock on the n-th day; None where it lies outside."""
    first, last = day * DAY_MINUTES, min((day + 1) * DAY_MINUTES, len(drivers))
    if first >= len(drivers):
        return None
    found = np.flatnonzero(np.abs(drivers.local_hour[first:last] - hour) < 1.0 / 60.0)
    return int(found[0]) + first if len(found) else None


def lime_ph_per_litre(ph: float, volume: float) -> float:
    """Rise of pH per litre of saturated limewater: slopes of the closed-system table [7], by pH (NBS)."""
    per_400 = np.interp(ph, (8.137, 8.34, 8.48, 8.73, 9.0), (0.142, 0.115, 0.094, 0.074, 0.060))
    return float(per_400) * 400.0 / volume


def run(world: World, state: State, drivers: Drivers) -> Truth:
    """Let the minutes pass; `state` is changed in place."""
    n = len(drivers)
    names = ("temperature", "temperature_2", "ph", "practical_salinity", "sump_level", "reservoir")
    out = {name: np.empty(n) for name in names}
    heater, cooler, pump = np.empty(n), np.empty(n), np.empty(n)
    c = {f.name: getattr(drivers, f.name).tolist() for f in fields(Drivers) if f.name != "start_us"}
    half, cool_half = world.hysteresis / 2, world.cooler_hysteresis / 2
    low, high = world.setpoint - half, world.setpoint + half
    cool_high, cool_low = world.cooler_setpoint + cool_half, world.cooler_setpoint - cool_half
    pump_l = world.pump_lph / 60.0
    kg = physics.SEAWATER_KG_PER_LITRE
    fresh_kg = physics.FRESH_WATER_KG_PER_LITRE
    full_kg = world.volume * kg
    cm_per_litre = 0.1 / world.area_m2
    latent_per_litre_a_minute = physics.evaporation_watts(1440.0, world.setpoint)
    fan_extra = max(0.0, world.fan_share_a_day - world.share_a_day) * world.volume / DAY_MINUTES
    # What the lamps have pulled up, the dark pulls down, with one time constant.
    ph_step = -math.expm1(-1.0 / 60.0 / world.ph_hours)
    mixed_heat, sump_heat = world.capacity, world.capacity * SUMP_SHARE
    display_heat = world.capacity - sump_heat
    usual_lime = world.daily_litres / DAY_MINUTES if world.is_limewater else 0.0
    t, ts = state.temperature, state.sump_temperature
    water, salt, ph, reservoir = state.water_kg, state.salt, state.ph, state.reservoir
    drained, lime_ph = state.drained, state.lime_ph
    heating, cooling, filling = state.is_heating, state.is_cooling, state.is_filling
    for i in range(n):
        live = c["mains"][i]
        returns = c["return_on"][i] * live
        room = c["room"][i]
        # -- water ------------------------------------------------------------------------------
        drained += (world.drain_litres * (1.0 - returns) - drained) * 0.4
        level = (water - full_kg) / fresh_kg + drained + c["display_litres"][i]
        level = world.level_cm + level * cm_per_litre
        if c["pump_gain"][i] or c["pump_forced"][i]:
            if level <= world.level_cm - world.band_cm:
                filling = True
            elif level >= world.level_cm:
                filling = False
        else:
            filling = level <= world.level_cm - world.band_cm
        runs = bool((filling or c["pump_forced"][i]) and live)
        pumped = pump_l * (1.0 if c["pump_forced"][i] else c["pump_gain"][i]) if runs else 0.0
        if c["refill"][i]:
            reservoir = world.reservoir
        fresh = min(pumped + c["dribble"][i], reservoir)
        reservoir -= fresh
        has_fan = cooling and world.cooler == "fan" and c["cooler_gain"][i] * live
        gone = c["evaporation"][i] + (fan_extra if has_fan else 0.0)
        by_hand = c["fresh_by_hand"][i] if level < world.level_cm else 0.0
        water += (fresh + by_hand - gone) * fresh_kg
        lost = c["leak"][i] + c["taken"][i]
        if lost:
            share = lost * kg / water
            water *= 1.0 - share
            salt *= 1.0 - share
        given = c["given"][i]
        if given:
            water += given * kg
            salt += given * kg * c["given_salinity"][i]
            t += (c["given_temperature"][i] - t) * given / world.volume
            ph += (8.15 - ph) * given / world.volume
        # -- heat -------------------------------------------------------------------------------
        sensed = ts
        if sensed <= low:
            heating = True
        elif sensed >= high:
            heating = False
        if world.cooler:
            if sensed >= cool_high:
                cooling = True
            elif sensed <= cool_low:
                cooling = False
        heats = world.heater_watts * c["heater_gain"][i] * live
        if not (heating or c["heater_forced"][i]):
            heats = 0.0
        cools = 0.0
        if cooling and c["cooler_gain"][i] and live:
            cools = world.chiller_heat * c["cooler_gain"][i]
        equipment = world.equipment_watts * live - world.return_watts * (1.0 - returns) * live
        watts = equipment + world.lights_watts * c["light"][i] * live
        watts -= latent_per_litre_a_minute * gone
        cold = (fresh + by_hand) / 60.0 * _FRESH_HEAT * (ts - room)
        if returns:
            if ts != t:
                t = ts = t + (ts - t) * SUMP_SHARE
            t += (watts + heats - cools - cold - world.ua * (t - room)) * 60.0 / mixed_heat
            ts = t
        else:
            # Heater, cooler and top-off act in the sump alone; lamps and most of the loss on the display.
            passed = (ts - t) * _STANDING_EXCHANGE_PER_MINUTE * world.capacity
            ts += ((heats - cools - cold - 0.2 * world.ua * (ts - room)) * 60.0 - passed) / sump_heat
            t += ((watts - 0.8 * world.ua * (t - room)) * 60.0 + passed) / display_heat
        # -- pH ---------------------------------------------------------------------------------
        light = c["light"][i] * live
        target = world.ph_dark + (world.ph_light - world.ph_dark) * light
        ph += (target - ph) * ph_step
        if world.is_limewater:
            # Beyond what the tank gets every day anyway, which its usual pH contains.
            lime_ph += (fresh - usual_lime) * lime_ph_per_litre(ph + lime_ph, world.volume)
            lime_ph -= lime_ph * ph_step
        out["temperature"][i] = ts if world.is_probe_in_sump else t
        out["temperature_2"][i] = t if world.is_probe_in_sump else ts
        out["ph"][i] = ph + lime_ph + c["ph_shift"][i]
        out["practical_salinity"][i] = salt / water
        out["sump_level"][i] = max(0.0, level)
        out["reservoir"][i] = reservoir
        heater[i] = heats
        cooler[i] = (1.0 if cooling else 0.0) * c["cooler_gain"][i] * live
        pump[i] = 1.0 if runs else 0.0
    state.temperature, state.sump_temperature = t, ts
    state.water_kg, state.salt, state.ph, state.reservoir = water, salt, ph, reservoir
    state.drained, state.lime_ph = drained, lime_ph
    state.is_heating, state.is_cooling, state.is_filling = heating, cooling, filling
    out["room_temperature"] = drivers.room
    out["reactor_ph"] = drivers.reactor_ph
    out["heater_power"] = heater
    out["chiller_power"] = cooler * max(40.0, world.chiller_heat / 2.5)
    out["fan_power"] = cooler * 12.0
    out["top_off_power"] = pump * 8.0 * drivers.pump_watts_gain
    out["return_pump_power"] = world.return_watts * drivers.return_on * drivers.mains
    out["floor_contact"] = np.zeros(n)
    return Truth(drivers.start_us, out, state)
