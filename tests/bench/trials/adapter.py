"""The engine as a user meets it: its settings from a TOML file, what is learned, its readings in order.

Only public names of `rules` and `collector` are used, and only here.
"""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import NamedTuple

import numpy as np

import rules
from collector.configuration import Configuration
from collector.settings import load_configuration
from rules import (
    Baseline,
    Block,
    Engine,
    HeatModel,
    Incident,
    IncidentEnded,
    IncidentOpened,
    IncidentUpdated,
    Learning,
    PoorFit,
    Priority,
)
from tests.bench.trials.probes import Readings
from tests.bench.trials.worlds import MINUTE_US, World

SLOT_US = 15 * MINUTE_US
HOUR_US = 60 * MINUTE_US
TANK = "reef"


@dataclass(frozen=True, slots=True)
class Ring:
    """What a person is told at an instant: an incident opened, or became worse (`is_again`)."""

    at_us: int
    number: int
    cause: str
    priority: Priority
    confidence: float | None
    rivals: tuple[str, ...]
    series: tuple[str, ...]
    is_again: bool = False
    reasons: tuple[str, ...] = ()


@dataclass(slots=True)
class Heard:
    """All rings in order, every later change of an incident, and each incident as it stood in the end."""

    rings: list[Ring] = field(default_factory=list)
    changes: list[Ring] = field(default_factory=list)
    began: dict[int, int] = field(default_factory=dict)
    ended: dict[int, int] = field(default_factory=dict)

    def incidents(self, now_us: int) -> list[tuple[int, int]]:
        """Begin and end of all incidents so far."""
        return [(from_us, self.ended.get(number, now_us)) for number, from_us in self.began.items()]


# -- settings --------------------------------------------------------------------------------------

# As the shipped example and the demo set them; a keeper writes the level's band around his own level.
_SERIES = {
    "temperature": """quantity = "temperature"
sensor_range = ["-5 degC", "60 degC"]
usual_range = ["15 degC", "35 degC"]
spike = { suspect = "0.5 degC", fail = "2 degC" }
rate_of_change = "30 degC/h"
flat_line = { tolerance = "0.001 degC", suspect_after = "4 h", fail_after = "8 h" }
gap = "%(gap)s"
alarm_low = "24 degC"
alarm_high = "%(high)s"
danger_low = "21 degC"
danger_high = "30 degC"
alarm_rate = "1.2 degC/h"
alarm_rate_window = "1 h"
""",
    "ph": """quantity = "ph"
scale = "nbs"
sensor_range = ["0 pH", "14 pH"]
usual_range = ["7.5 pH", "8.8 pH"]
spike = { suspect = "0.1 pH", fail = "0.2 pH" }
gap = "%(gap)s"
alarm_low = "7.7 pH"
alarm_high = "8.6 pH"
danger_low = "7.4 pH"
danger_high = "8.9 pH"
""",
    "practical_salinity": """quantity = "practical_salinity"
sensor_range = ["0", "42"]
usual_range = ["30", "40"]
spike = { suspect = "0.3", fail = "1" }
gap = "%(gap)s"
alarm_low = "33"
alarm_high = "37"
danger_low = "30"
danger_high = "40"
""",
    "sump_level": """quantity = "water_level"
sensor_range = ["0 cm", "60 cm"]
gap = "%(gap)s"
alarm_low = "%(level_low)s"
alarm_high = "%(level_high)s"
""",
    "reservoir": """quantity = "volume"
sensor_range = ["0 L", "500 L"]
gap = "%(gap)s"
alarm_low = "%(reservoir)s"
priority = "low"
""",
    "room_temperature": """quantity = "temperature"
sensor_range = ["-20 degC", "60 degC"]
gap = "30 min"
probe_priority = "low"
""",
    "temperature_2": """quantity = "temperature"
sensor_range = ["-5 degC", "60 degC"]
gap = "%(gap)s"
""",
    "reactor_ph": """quantity = "ph"
scale = "nbs"
sensor_range = ["0 pH", "14 pH"]
gap = "%(gap)s"
""",
    "floor_contact": """quantity = "contact"
alarm_state = "closed"
gap = "%(gap)s"
""",
}
_POWER = """quantity = "power"
sensor_range = ["0 W", "5000 W"]
gap = "%(gap)s"
"""


TEMPERATURE_LOW = 24.0


def temperature_high(world: World) -> float:
    """The limit of the shipped example, or some way above where a cooler comes on."""
    return round(max(27.5, world.cooler_setpoint + 1.5 if world.cooler else 0.0), 1)


def settings_text(world: World) -> str:
    """The configuration that the keeper of this tank would write."""
    equipment = ["heater", "return_pump", "lights"]
    if world.is_automatic:
        equipment.append("top_off")
    if world.is_limewater:
        equipment.append("limewater_stirrer")
    if world.cooler:
        equipment.append(world.cooler)
    if "reactor_ph" in world.series:
        equipment.append("calcium_reactor")
    # Who fills by hand sees a day's evaporation in the level.
    deep = 3.0 if world.is_automatic else max(3.0, 2.0 + 0.15 * world.daily_litres / world.area_m2)
    words = {
        "high": f"{temperature_high(world):.1f} degC",
        "level_low": f"{world.level_cm - deep:.1f} cm",
        "level_high": f"{world.level_cm + max(3.0, 0.1 * world.drain_litres / world.area_m2 + 1.0):.1f} cm",
        # Three of the probe's intervals and a bit; 15 min is what the example has for one a minute.
        "gap": "20 min" if world.every_s >= 300 else "15 min",
        # Two days of evaporation.
        "reservoir": f"{2.0 * world.daily_litres:.1f} L",
    }
    quoted = ", ".join(f'"{word}"' for word in equipment)
    parts = [
        "[service]",
        'folder = "unused"',
        "[page]",
        "enabled = false",
        f"[tanks.{TANK}]",
        f'time_zone = "{world.zone}"',
        f'volume = "{world.volume:g} L"',
        f"equipment = [{quoted}]",
    ]
    for name in world.series:
        parts.append(f"[tanks.{TANK}.series.{name}]")
        parts.append((_POWER if name.endswith("_power") else _SERIES[name]) % words)
    parts += ["[[sources]]", 'topic = "boards/+"', 'format = "number"', f'tank = "{TANK}"', 'series = "{1}"']
    for board, names in world.boards.items():
        inside = ", ".join(f'"{name}"' for name in names)
        parts += ["[[boards]]", f'tank = "{TANK}"', f'name = "{board}"', f'topic = "boards/status/{board}"']
        parts.append(f"series = [{inside}]")
    return "\n".join(parts) + "\n"


@cache
def configuration_of(text: str) -> Configuration:
    """The settings through the project's own reader."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "trial.toml"
        path.write_text(text, encoding="utf-8")
        return load_configuration(path, {})


# -- what is learned -------------------------------------------------------------------------------


class Known(NamedTuple):
    """What is learned of a tank in a night: baselines by index of the series, and the model of its heat."""

    baselines: Mapping[int, Baseline]
    models: Mapping[str, HeatModel]


def fit(
    configuration: Configuration,
    readings: Readings,
    now_us: int,
    planned: Sequence[tuple[str, int, int]] = (),
    incidents: Sequence[tuple[int, int]] = (),
) -> Known:
    """What the service learns at night of all series from quarter-hour means.

    Incidents are left out, and the work that was told and moves the series.
    """
    works = [rules.PlannedWork(TANK, *work) for work in planned if work[2] <= now_us]
    found: dict[int, Baseline] = {}
    zone = configuration.tanks[0].rules.time_zone
    means = {}
    for index, series in enumerate(configuration.series):
        means[series.name] = slot_means(readings.times[series.name], readings.values[series.name], now_us)
        moved = _moved(works, series.quantity)
        fitted = rules.fit_baseline(*means[series.name], zone, series.quantity, (*incidents, *moved))
        if not isinstance(fitted, Learning | PoorFit):
            found[index] = fitted
    heat = _fit_heat(means, zone, (*incidents, *_moved(works, "temperature")))
    return Known(found, {} if heat is None else {TANK: heat})


def _moved(works: Sequence[rules.PlannedWork], quantity: str) -> list[tuple[int, int]]:
    return [(work.from_us, work.settled_us) for work in works if work.disturbs(quantity)]


def _fit_heat(
    means: Mapping[str, tuple[np.ndarray, np.ndarray]], zone: str, excluded: Sequence[tuple[int, int]]
) -> HeatModel | None:
    starts_us, _ = means["temperature"]
    if not len(starts_us):
        return None
    grid_us = np.arange(starts_us[0], starts_us[-1] + SLOT_US, SLOT_US)

    def on_grid(name: str) -> np.ndarray | None:
        if name not in means:
            return None
        values = np.full(len(grid_us), np.nan)
        slots, inside = (means[name][0] - grid_us[0]) // SLOT_US, means[name][1]
        is_in = (slots >= 0) & (slots < len(grid_us))
        values[slots[is_in]] = inside[is_in]
        return values if np.isfinite(values).any() else None

    water = on_grid("temperature")
    for from_us, to_us in excluded:
        water[(grid_us + SLOT_US > from_us) & (grid_us < to_us)] = np.nan
    room, heater, chiller = map(on_grid, ("room_temperature", "heater_power", "chiller_power"))
    fitted = rules.fit_heat_model(grid_us, water, zone, room=room, heater=heater, chiller=chiller)
    return fitted if isinstance(fitted, HeatModel) else None


def slot_means(times_us: np.ndarray, values: np.ndarray, now_us: int) -> tuple[np.ndarray, np.ndarray]:
    """Means of quarter hours that hold readings, and where these begin; nothing older than four weeks."""
    recent = (times_us >= now_us - 28 * 24 * HOUR_US) & (times_us < now_us)
    slots, where = np.unique(times_us[recent] // SLOT_US, return_inverse=True)
    sums = np.bincount(where, values[recent], len(slots))
    return slots * SLOT_US, sums / np.maximum(np.bincount(where, minlength=len(slots)), 1)


# -- the run ---------------------------------------------------------------------------------------


def listen(
    world: World,
    known: Known,
    readings: Readings,
    *,
    from_us: int,
    to_us: int,
    boards: Sequence[tuple[int, str, bool]] = (),
    planned: Sequence[tuple[str, int, int]] = (),
    refits: Sequence[int] = (),
    history: Readings | None = None,
    worked: Sequence[tuple[str, int, int]] = (),
) -> Heard:
    """Let the engine hear a stretch of readings and return what it says.

    `boards`: (instant, board, is it online). `planned`: (kind, from, to). `refits`: instants at which
    it is learned again from `history`, in which work `worked` was told, and what has been heard.
    """
    configuration = configuration_of(settings_text(world))
    engine = Engine(configuration.engine, dict(known.baselines))
    engine.set_models(known.models)
    heard = Heard()
    engine.plan_work([rules.PlannedWork(TANK, *work) for work in planned])
    names = [series.name for series in configuration.series]
    times, values, where = readings.merged(names)
    cuts = sorted(
        {
            *range(from_us + HOUR_US, to_us, HOUR_US),
            to_us,
            *(at for at, _, _ in boards if at < to_us),
            *refits,
        }
    )
    words = {at: [w for w in boards if w[0] == at] for at, _, _ in boards}
    first = int(np.searchsorted(times, from_us))
    for cut_us in cuts:
        last = int(np.searchsorted(times, cut_us))
        if last > first:
            block = Block(times[first:last], values[first:last], where[first:last])
            _take(heard, engine.advance(block).events)
        first = last
        _take(heard, engine.advance_to(cut_us))
        for at_us, board, is_online in words.get(cut_us, ()):
            _take(heard, engine.board_changed(at_us, TANK, board, world.boards[board], is_online))
        if cut_us in refits and history is not None:
            heard_of = joined(history, readings, cut_us)
            known = fit(configuration, heard_of, cut_us, (*worked, *planned), heard.incidents(cut_us))
            engine.set_baselines(known.baselines)
            engine.set_models(known.models)
    _take(heard, engine.advance_to(to_us + configuration.engine.allowance_us))
    return heard


def joined(before: Readings, after: Readings, until_us: int) -> Readings:
    """Two stretches on end, up to an instant."""
    times, values = {}, {}
    for name in after.times:
        until = int(np.searchsorted(after.times[name], until_us))
        times[name] = np.concatenate((before.times[name], after.times[name][:until]))
        values[name] = np.concatenate((before.values[name], after.values[name][:until]))
    return Readings(times, values)


def _take(heard: Heard, events: Sequence[rules.Event]) -> None:
    for event in events:
        if isinstance(event, IncidentOpened):
            heard.rings.append(_ring(event.at_us, event.incident))
            heard.began[event.incident.number] = event.incident.first_evidence_us
        elif isinstance(event, IncidentUpdated):
            ring = _ring(event.at_us, event.incident, is_again=True)
            if event.worsened:
                heard.rings.append(ring)
            heard.changes.append(ring)
        elif isinstance(event, IncidentEnded):
            heard.ended[event.incident.number] = event.at_us


def _ring(at_us: int, incident: Incident, *, is_again: bool = False) -> Ring:
    evidence = incident.evidence
    rivals = tuple(rival.cause for rival in evidence.rivals)
    return Ring(
        at_us,
        incident.number,
        incident.cause,
        incident.priority,
        evidence.confidence,
        rivals,
        incident.series,
        is_again,
        evidence.reasons,
    )
