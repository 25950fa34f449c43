"""What goes wrong in a trial: which fault, how large, how long it may take to be told. One function each.

A fault acts on the drivers of the truth, or on what a probe shows; it names the cause that would be right and
the family to which that belongs. Sizes are those that a keeper meets [own]; the comment says where physics
sets them.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from tests.bench.trials.probes import Change, Tampering
from tests.bench.trials.truth import Drivers, Truth
from tests.bench.trials.worlds import BASIC, MINUTE_US, World

HOUR_US = 60 * MINUTE_US


@dataclass(slots=True)
class Scene:
    """A stretch of a tank's life into which a fault is put at `row` of the drivers."""

    world: World
    drivers: Drivers
    row: int
    rng: np.random.Generator
    tampering: Tampering = field(default_factory=Tampering)
    # (instant, board, is it online)
    boards: list[tuple[int, str, bool]] = field(default_factory=list)
    after_run: list[Callable[[Truth], None]] = field(default_factory=list)

    @property
    def at_us(self) -> int:
        return self.drivers.start_us + self.row * MINUTE_US

    def hours(self) -> np.ndarray:
        """Hours since the fault for each row from it on."""
        return np.arange(len(self.drivers) - self.row) / 60.0


@dataclass(frozen=True, slots=True)
class Case:
    """A fault to be found: right causes and family, hours within which it must be told, what tank it needs.

    `put` makes it happen and returns its size in words. `at_work` lets it happen within a water
    change that was told beforehand. `called_on` names the power of the equipment that fails: the fault
    begins when that is next called on, for what fails while it rests changes nothing that can be seen.
    """

    name: str
    causes: tuple[str, ...]
    family: str
    hours: float
    put: Callable[[Scene], str]
    wishes: dict[str, object] = field(default_factory=dict)
    only_all: bool = False
    warm_days: int = 3
    at_work: bool = False
    called_on: str = ""


# -- heat ------------------------------------------------------------------------------------------


def _heater_off(scene: Scene) -> str:
    scene.drivers.heater_gain[scene.row :] = 0.0
    return "no heat"


def _heater_weak(scene: Scene) -> str:
    left = float(scene.rng.uniform(0.4, 0.6))
    scene.drivers.heater_gain[scene.row :] = left
    return f"{left:.0%} of the heat"


def _heater_on(scene: Scene) -> str:
    scene.drivers.heater_forced[scene.row :] = 1.0
    return "full heat"


def _cooling_lost(scene: Scene) -> str:
    scene.drivers.cooler_gain[scene.row :] = 0.0
    return f"{scene.world.cooler} lost"


# -- water -----------------------------------------------------------------------------------------


def _between(scene: Scene, low: float, high: float) -> float:
    return math.exp(scene.rng.uniform(math.log(low), math.log(max(high, low * 1.5))))


def _overdose(scene: Scene) -> str:
    """Less than evaporation takes is no overdose: the top-off itself makes room for it."""
    usual = scene.world.daily_litres / 24.0
    rate = _between(scene, max(0.5, 2.0 * usual), max(1.0, min(8.0, scene.world.pump_lph)))
    if rate > 0.6 * scene.world.pump_lph or scene.rng.random() < 0.5:
        # The switch sticks: the pump itself runs on.
        rate = scene.world.pump_lph
        scene.drivers.pump_forced[scene.row :] = 1.0
        what = "pump stuck on"
    else:
        scene.drivers.dribble[scene.row :] = rate / 60.0
        what = "siphon"
    # A keeper fills the reservoir up in time, so there is water to overdose [own].
    scene.drivers.refill[scene.row] = 1.0
    return f"{what} {rate:.1f} L/h {'limewater' if scene.world.is_limewater else 'fresh'}"


def _top_off_failed(scene: Scene) -> str:
    drivers, row = scene.drivers, scene.row
    which = str(scene.rng.choice(("pump dead", "tube blocked", "reservoir lost")))
    drivers.pump_gain[row:] = 0.0
    drivers.refill[row:] = 0.0
    if which == "pump dead":
        drivers.pump_watts_gain[row:] = 0.0
    elif which == "reservoir lost":
        # It has run out beside the tank, or was tipped over; the pump runs dry.

        def emptied(truth: Truth) -> None:
            truth.columns["reservoir"][row:] = 0.3

        scene.after_run.append(emptied)
    return which


def _leak(scene: Scene) -> str:
    rate = _between(scene, 0.2, 10.0)
    scene.drivers.leak[scene.row :] = rate / 60.0
    return f"{rate:.1f} L/h" + ("" if scene.world.is_automatic else ", filled by hand")


def _floor_wet(scene: Scene) -> str:
    scene.drivers.leak[scene.row :] = 1.0 / 60.0
    row = scene.row

    def wet(truth: Truth) -> None:
        truth.columns["floor_contact"][row:] = 1.0

    scene.after_run.append(wet)
    return "contact closed"


def _circulation(scene: Scene) -> str:
    scene.drivers.return_on[scene.row :] = 0.0
    return f"{scene.world.drain_litres:.0f} L drain back"


# -- probes ----------------------------------------------------------------------------------------


def _from(
    scene: Scene, change: Callable[[np.ndarray, np.ndarray, np.random.Generator], np.ndarray]
) -> Change:
    """Let a change act from the fault's instant on."""
    at_us = scene.at_us

    def act(times: np.ndarray, shown: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        first = int(np.searchsorted(times, at_us))
        shown = shown.copy()
        shown[first:] = change(times[first:] - at_us, shown[first:], rng)
        return shown

    return act


def _stuck(scene: Scene) -> str:
    name = str(scene.rng.choice(BASIC))

    def hold(times: np.ndarray, shown: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        known = np.flatnonzero(np.isfinite(shown))
        return np.full_like(shown, shown[known[0]]) if len(known) else shown

    scene.tampering.on_shown(name, _from(scene, hold))
    return name


def _dry(scene: Scene) -> str:
    """In air: salinity falls to nothing within a minute, temperature follows the room, pH loses its cell."""
    name = str(scene.rng.choice(("temperature", "practical_salinity", "ph")))
    drivers, row = scene.drivers, scene.row
    if name == "temperature":

        def follow(truth: Truth) -> None:
            # A probe in still air takes a few minutes; dripping water cools it a little below the room.
            column, room = truth.columns["temperature"], drivers.room
            now = column[row]
            for i in range(row, len(column)):
                now += (room[i] - 0.5 - now) * 0.2
                column[i] = now

        scene.after_run.append(follow)
    elif name == "practical_salinity":

        def no_cell(times: np.ndarray, shown: np.ndarray, rng: np.random.Generator) -> np.ndarray:
            left = np.abs(0.1 + 0.15 * rng.standard_normal(len(shown)))
            return np.round(shown * np.exp(-times / (40.0 * 1e6)) + left, 2)

        scene.tampering.on_shown(name, _from(scene, no_cell))
    else:
        is_rail = bool(scene.rng.random() < 0.4)

        def no_reference(times: np.ndarray, shown: np.ndarray, rng: np.random.Generator) -> np.ndarray:
            share = np.exp(-times / (5 * 60 * 1e6))
            if is_rail:
                return np.where(times < 60 * 1e6, shown, 14.0)
            air = 7.0 + np.cumsum(0.01 * rng.standard_normal(len(shown)))
            return np.round(shown * share + np.clip(air, 6.6, 7.4) * (1.0 - share), 2)

        scene.tampering.on_shown(name, _from(scene, no_reference))
    return name


def _noisy(scene: Scene) -> str:
    name = str(scene.rng.choice(BASIC))
    probe = scene.world.probes[name]
    times_more = float(scene.rng.uniform(5.0, 20.0))
    size = times_more * max(probe.noise, probe.resolution * 0.5)

    def add(times: np.ndarray, shown: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        noise = size * rng.standard_t(3, len(shown)) / math.sqrt(3.0)
        return np.round(np.round((shown + noise) / probe.resolution) * probe.resolution, 6)

    scene.tampering.on_shown(name, _from(scene, add))
    return f"{name} x{times_more:.0f}"


def _drifting(scene: Scene) -> str:
    names = ("ph", "practical_salinity", "temperature")
    # Without a neighbour, a thermostat of its own holds the water: nothing in four series speaks against it.
    name = str(scene.rng.choice(names))
    low, high = {"ph": (0.02, 0.05), "practical_salinity": (0.1, 0.3), "temperature": (0.05, 0.2)}[name]
    a_day = float(scene.rng.uniform(low, high)) * (1.0 if scene.rng.random() < 0.5 else -1.0)

    def drift(times: np.ndarray, shown: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        return shown + a_day * times / (24.0 * HOUR_US)

    scene.tampering.on_truth(name, _from(scene, drift))
    return f"{name} {a_day:+.2f}/day"


def _silence(scene: Scene, names: tuple[str, ...]) -> None:
    def nothing(times: np.ndarray, shown: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        return np.full_like(shown, np.nan)

    for name in names:
        scene.tampering.on_shown(name, _from(scene, nothing))


def _silent(scene: Scene) -> str:
    name = str(scene.rng.choice(BASIC))
    _silence(scene, (name,))
    return name


# -- power and reactor -----------------------------------------------------------------------------


def _offline(scene: Scene) -> str:
    board = str(scene.rng.choice(("sump", "chemistry")))
    # A will is published when 1.5 times the keep-alive has passed without a word (MQTT 3.1.1, 3.1.2.10).
    scene.boards.append((scene.at_us + 90 * 1_000_000, board, False))
    _silence(scene, scene.world.boards[board])
    return board


def _mains_with_battery(scene: Scene) -> str:
    scene.drivers.mains[scene.row :] = 0.0
    return "boards on a battery"


def _mains(scene: Scene) -> str:
    scene.drivers.mains[scene.row :] = 0.0
    boards = tuple(scene.world.boards)
    _silence(scene, scene.world.series)
    # All wills within the same keep-alive.
    scene.boards.extend(
        (scene.at_us + (60 + 10 * i) * 1_000_000, name, False) for i, name in enumerate(boards)
    )
    return "boards dark"


def _reactor(scene: Scene) -> str:
    """The CO2 bottle runs empty and effluent pH climbs; or too much gas, and it falls."""
    is_up = bool(scene.rng.random() < 0.6)
    goal, hours = (7.4, 3.0) if is_up else (5.9, 2.0)
    share = 1.0 - np.exp(-scene.hours() / hours)
    column = scene.drivers.reactor_ph
    column[scene.row :] += (goal - column[scene.row :]) * share
    return "gas empty" if is_up else "too much gas"


CASES = {
    case.name: case
    for case in (
        Case(
            "heater_failed_off",
            ("heater_failed_off",),
            "heat_lost",
            12,
            _heater_off,
            called_on="heater_power",
        ),
        Case(
            "heater_weak",
            ("heater_weak",),
            "heat_lost",
            36,
            _heater_weak,
            {"two_heaters": True},
            called_on="heater_power",
        ),
        Case("heater_stuck_on", ("heater_stuck_on",), "heat_gained", 12, _heater_on),
        Case("heater_stuck_on_at_work", ("heater_stuck_on",), "heat_gained", 12, _heater_on, at_work=True),
        Case(
            "cooling_lost_chiller",
            ("cooling_lost",),
            "heat_gained",
            12,
            _cooling_lost,
            {"kind": "cooled", "cooler": "chiller"},
            called_on="chiller_power",
        ),
        Case(
            "cooling_lost_fan",
            ("cooling_lost",),
            "heat_gained",
            24,
            _cooling_lost,
            {"kind": "cooled", "cooler": "fan"},
            called_on="fan_power",
        ),
        Case(
            "top_off_overdose_fresh",
            ("top_off_overdose",),
            "fresh_water_in",
            12,
            _overdose,
            {"is_limewater": False},
        ),
        Case(
            "top_off_overdose_lime",
            ("top_off_overdose",),
            "fresh_water_in",
            12,
            _overdose,
            {"is_limewater": True},
        ),
        Case(
            "top_off_failed",
            ("top_off_failed",),
            "water_out",
            48,
            _top_off_failed,
            called_on="top_off_power",
        ),
        Case("leak", ("leak",), "water_out", 48, _leak),
        Case("leak_without_top_off", ("leak",), "water_out", 48, _leak, {"is_automatic": False}),
        Case("floor_wet", ("leak", "contact_alarm"), "water_out", 1, _floor_wet, only_all=True),
        Case("circulation_stopped", ("circulation_stopped",), "circulation", 6, _circulation),
        Case("probe_stuck", ("probe_stuck",), "probe", 24, _stuck),
        Case("probe_dry", ("probe_dry",), "probe", 6, _dry),
        Case("probe_noisy", ("probe_noisy",), "probe", 24, _noisy),
        Case("probe_drifting", ("probe_drifting",), "probe", 240, _drifting),
        Case("probe_silent", ("probe_silent",), "probe", 2, _silent),
        Case("device_offline", ("device_offline",), "power", 1, _offline),
        Case("mains_power_lost", ("mains_power_lost",), "power", 1, _mains),
        Case(
            "mains_power_lost_battery",
            ("mains_power_lost",),
            "power",
            # A heater that happened to rest shows that it is dead when the water next asks for it.
            4,
            _mains_with_battery,
            only_all=True,
        ),
        Case("reactor_off_band", ("reactor_off_band",), "reactor", 12, _reactor, only_all=True),
    )
}

# What the causes that an engine may name belong to; a limit names no family.
FAMILIES = {
    "heater_failed_off": "heat_lost",
    "heater_weak": "heat_lost",
    "heater_stuck_on": "heat_gained",
    "cooling_lost": "heat_gained",
    "top_off_overdose": "fresh_water_in",
    "top_off_failed": "water_out",
    "leak": "water_out",
    "contact_alarm": "water_out",
    "circulation_stopped": "circulation",
    "probe_stuck": "probe",
    "probe_dry": "probe",
    "probe_noisy": "probe",
    "probe_drifting": "probe",
    "probe_silent": "probe",
    "probe_out_of_range": "probe",
    "device_offline": "power",
    "mains_power_lost": "power",
    "reactor_off_band": "reactor",
}
