"""Tanks drawn from a seed: what they are made of and how they are watched. Which tank is it?

Every assumption has its source: [6] the heat balance and its scenario table, [7] the water balance, [5] the
husbandry table of common practice, [own] a choice of this harness. All of 5 is common practice without a
published source.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass, field, replace

import numpy as np

from rules import physics

SIZES = (80.0, 200.0, 400.0, 800.0, 1500.0)
DAY_MINUTES = 1440
MINUTE_US = 60_000_000
LEARNING_DAYS = 14

BASIC = ("temperature", "ph", "practical_salinity", "sump_level")
# Board -> its series; a board has one network connection and one last will.
BOARDS = {
    "sump": ("temperature", "sump_level", "reservoir"),
    "chemistry": ("ph", "practical_salinity", "reactor_ph", "temperature_2"),
    "room": ("room_temperature", "floor_contact"),
    "power": ("heater_power", "chiller_power", "fan_power", "top_off_power", "return_pump_power"),
}
# 2026-01-12, 2026-04-20, 2026-07-06, 2026-10-05, all Mondays at 00:00 UTC; and a fortnight before the
# clocks of central Europe go forward on 2026-03-29.
STARTS_US = tuple(s * 1_000_000 for s in (1_768_176_000, 1_776_643_200, 1_783_296_000, 1_791_158_400))
BEFORE_SUMMER_TIME_US = 1_773_014_400 * 1_000_000


@dataclass(frozen=True, slots=True)
class Probe:
    """Standard deviation of the noise and last digit of a probe, in the unit of its series."""

    noise: float
    resolution: float


@dataclass(frozen=True, slots=True)
class World:
    """A tank and how it is watched; powers in W, times in hours or minutes as named."""

    seed: int
    kind: str  # "heated" in a cool room, "cooled" in a warm one
    volume: float
    zone: str
    start_us: int
    ua: float
    capacity: float
    heater_watts: float
    equipment_watts: float
    lights_watts: float
    return_watts: float
    setpoint: float
    hysteresis: float
    cooler: str  # "", "chiller" or "fan"
    cooler_setpoint: float
    cooler_hysteresis: float
    chiller_heat: float
    fan_share_a_day: float
    room: float
    room_swing: float
    room_wander: float
    share_a_day: float
    area_m2: float
    level_cm: float
    band_cm: float
    pump_lph: float
    reservoir: float
    is_limewater: bool
    is_automatic: bool
    lights_on: float
    lights_hours: float
    ph_light: float
    ph_dark: float
    ph_hours: float
    drain_litres: float
    is_probe_in_sump: bool
    feeding_hour: float
    feeding_minutes: int
    tells_feeding: bool
    every_s: int
    series: tuple[str, ...]
    probes: dict[str, Probe] = field(default_factory=dict)

    @property
    def boards(self) -> dict[str, tuple[str, ...]]:
        """Boards with the series that this tank has."""
        have = {name: tuple(s for s in names if s in self.series) for name, names in BOARDS.items()}
        return {name: names for name, names in have.items() if names}

    @property
    def need_watts(self) -> float:
        """Mean heat that heater (above 0) or cooler (below 0) must bring to hold the setpoint."""
        latent = physics.evaporation_watts(self.volume * self.share_a_day, self.setpoint)
        given = self.equipment_watts + self.lights_watts * self.lights_hours / 24.0 - latent
        return self.ua * (self.setpoint - self.room) - given

    @property
    def uncooled(self) -> float:
        """Where the temperature would end on a mean day without heater and cooler."""
        return self.setpoint - self.need_watts / self.ua

    @property
    def daily_litres(self) -> float:
        """What evaporates on a usual day; a fan runs half of it."""
        share = self.share_a_day
        if self.cooler == "fan":
            share = (share + self.fan_share_a_day) / 2.0
        return self.volume * share


def stream(*keys: object) -> np.random.Generator:
    """A random stream of its own for every combination of keys."""
    return np.random.default_rng([k if isinstance(k, int) else zlib.crc32(str(k).encode()) for k in keys])


def draw_world(
    seed: int,
    *,
    kind: str = "heated",
    all_series: bool = True,
    volume: float | None = None,
    is_automatic: bool = True,
    cooler: str | None = None,
    is_limewater: bool | None = None,
    two_heaters: bool = False,
    every_s: int | None = None,
    before_summer_time: bool = False,
) -> World:
    """Draw a tank; the same seed and wishes give the same tank, whatever series it has."""
    rng = stream(seed, "world", kind)
    size = float(rng.choice(SIZES)) if volume is None else volume
    for _ in range(200):
        world = _draw(seed, rng, kind, size, cooler)
        duty = world.need_watts / world.heater_watts
        # A tank whose heater idles or never rests is not one that people keep, nor one with a cooler that
        # it could do without [own].
        if kind == "cooled" and world.uncooled >= world.cooler_setpoint + 1.0:
            break
        if kind == "heated" and 0.15 <= duty <= 0.65:
            break
    rng = stream(seed, "watch")
    lime = bool(rng.random() < 0.35) if is_limewater is None else is_limewater
    every = int(rng.choice((10, 60, 300), p=(0.15, 0.6, 0.25))) if every_s is None else every_s
    if two_heaters:
        # Two small ones together: 1.25 to 1.7 of what is needed on a mean day, so that one alone is short.
        world = replace(world, heater_watts=world.need_watts * float(rng.uniform(1.25, 1.7)))
    series = list(BASIC)
    if all_series:
        series += ["reservoir", "room_temperature", "heater_power", "top_off_power", "return_pump_power"]
        series += ["floor_contact", "temperature_2", "reactor_ph"]
        if world.cooler:
            series.append(f"{world.cooler}_power")
        if not is_automatic:
            series = [s for s in series if s not in ("reservoir", "top_off_power")]
    start_us = BEFORE_SUMMER_TIME_US if before_summer_time else STARTS_US[int(rng.integers(4))]
    zone = (
        "Europe/Berlin"
        if before_summer_time
        else str(rng.choice(("UTC", "Europe/Berlin", "America/Chicago")))
    )
    if lime:
        # Limewater goes in at about the rate of evaporation, as a slow drip in small portions [5].
        pump = max(1.0, world.daily_litres / 24.0 * float(rng.uniform(3.0, 8.0)))
        world = replace(world, band_cm=float(rng.uniform(0.1, 0.25)), pump_lph=pump)
    return replace(
        world,
        reservoir=world.daily_litres * float(rng.uniform(7.0, 12.0)),
        zone=zone,
        start_us=start_us,
        is_limewater=lime and is_automatic,
        is_automatic=is_automatic,
        every_s=every,
        series=tuple(series),
        probes=_draw_probes(stream(seed, "probes")),
    )


def _draw(seed: int, rng: np.random.Generator, kind: str, volume: float, cooler: str | None) -> World:
    u = rng.uniform
    scale = (volume / 400.0) ** (2.0 / 3.0)
    ua = 20.0 * scale * u(0.8, 1.25)  # [6] UA = 20 W/K at 400 L, with the surface
    is_cooled = kind == "cooled"
    setpoint = u(25.0, 26.0)
    which = ""
    if is_cooled:
        which = cooler or str(rng.choice(("chiller", "fan")))
    room = u(18.5, 24.0)  # [6] 21 degC; [own] heated rooms of a winter and unheated ones of a spring
    if is_cooled:
        room = u(27.0, 30.0) if which == "chiller" else u(25.5, 28.0)  # [6] chiller case: 30 degC
    equipment = volume * (u(0.22, 0.35) if is_cooled else u(0.10, 0.22))  # [6] 0.30 and 0.15 W/L
    share = u(0.005, 0.009) if is_cooled and which == "chiller" else u(0.006, 0.018)  # [5] 0.5 to 2 % a day
    lights = volume * u(0.15, 0.45)  # [own] the part of the lamps' power that ends in the water
    hours = u(9.0, 12.0)
    world = World(
        seed=seed,
        kind=kind,
        volume=volume,
        zone="UTC",
        start_us=0,
        ua=ua,
        capacity=physics.heat_capacity(volume, 35.0, setpoint),
        heater_watts=volume * u(0.7, 1.4),  # [5] 0.5 to 1.5 W/L
        equipment_watts=equipment,
        lights_watts=lights,
        return_watts=equipment * u(0.4, 0.6),
        setpoint=setpoint,
        hysteresis=u(0.2, 0.5),  # [5]
        cooler=which,
        cooler_setpoint=setpoint + (u(1.0, 1.5) if which == "chiller" else u(0.7, 1.0)),  # [5]
        cooler_hysteresis=u(0.3, 0.6),
        chiller_heat=0.0,
        fan_share_a_day=0.0,
        room=room,
        room_swing=u(0.5, 2.0),
        room_wander=u(0.3, 0.8),
        share_a_day=share,
        area_m2=0.18 * scale * u(0.8, 1.25),  # [7] 0.18 m2 at 400 L
        level_cm=u(18.0, 24.0),
        band_cm=u(0.3, 1.0),  # [5] a few mm to 20 mm
        pump_lph=max(3.0, 8.0 * scale) * u(0.5, 1.3),
        reservoir=0.0,
        is_limewater=False,
        is_automatic=True,
        lights_on=u(8.0, 11.0),
        lights_hours=hours,
        ph_light=u(8.30, 8.45),  # [5] 7.8 to 8.5, swing 0.2 to 0.5
        ph_dark=u(7.80, 8.0),
        ph_hours=u(7.0, 11.0),
        drain_litres=0.18 * scale * 10.0 * u(1.5, 4.0),  # [own] 1.5 to 4 cm of the return section
        is_probe_in_sump=bool(rng.random() < 0.5),
        feeding_hour=u(17.0, 20.0),
        feeding_minutes=int(rng.integers(5, 26)),  # [5] 5 to 30 min
        tells_feeding=bool(rng.random() < 0.5),
        every_s=60,
        series=BASIC,
    )
    if is_cooled:
        warm = world.cooler_setpoint
        surplus = equipment + lights - ua * (warm - room) - physics.evaporation_watts(volume * share, warm)
        capacity = max(surplus, 0.1 * volume) * u(1.5, 2.5)
        if which == "chiller":
            world = replace(world, chiller_heat=capacity)
        else:
            extra = capacity / physics.evaporation_watts(1.0, warm) / volume
            world = replace(world, fan_share_a_day=share + extra)
    return world


def _draw_probes(rng: np.random.Generator) -> dict[str, Probe]:
    """Noise and last digit of the probes: what boards of hobby probes show [own, common practice]."""
    pick = rng.choice
    return {
        # A digital thermometer of 12 bits steps by 0.0625 degC; thermistor and Pt1000 boards by 0.01 or less.
        "temperature": Probe(
            float(rng.uniform(0.004, 0.03)), float(pick((0.0625, 0.01, 0.1), p=(0.3, 0.6, 0.1)))
        ),
        "temperature_2": Probe(float(rng.uniform(0.004, 0.03)), float(pick((0.0625, 0.01)))),
        "ph": Probe(float(rng.uniform(0.003, 0.012)), float(pick((0.01, 0.001)))),
        "reactor_ph": Probe(float(rng.uniform(0.004, 0.012)), 0.01),
        "practical_salinity": Probe(float(rng.uniform(0.01, 0.06)), float(pick((0.01, 0.1), p=(0.75, 0.25)))),
        "sump_level": Probe(float(rng.uniform(0.02, 0.10)), float(pick((0.01, 0.05, 0.1)))),
        "reservoir": Probe(float(rng.uniform(0.03, 0.15)), 0.1),
        "room_temperature": Probe(0.03, 0.1),
        "heater_power": Probe(0.6, 1.0),
        "chiller_power": Probe(0.6, 1.0),
        "fan_power": Probe(0.1, 0.1),
        "top_off_power": Probe(0.1, 0.1),
        "return_pump_power": Probe(0.4, 0.1),
        "floor_contact": Probe(0.0, 1.0),
    }
