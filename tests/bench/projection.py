"""Is a danger line reached when it is told, and how often between the instants that are told with it?

python tests/bench/projection.py [--tanks 4] [--sizes 80,200,400,800,1500] [--data FOLDER]

Computed tanks of several sizes live through a fortnight, from which their heat is learned as the service
does; then the heater fails off or sticks on. What the alarm tells is held against when the water truly gets
there, and so is what would be told at fixed times after the failure, by the model, by the volume alone, and
by a straight line. Recorded waters, none of them a tank, are projected wherever they rise or fall.

A projection is held if the line is reached between its earliest and its latest; one for a line that is not
reached within two days is not, unless its latest lies beyond these. Stated are 80 % for a tank's heat; a
straight line spans the 10 % and 90 % quantiles of its slope and states nothing.
"""

from __future__ import annotations

import argparse
import os
import statistics
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from tqdm import tqdm

from collector.simulation import HeaterFailedOff, HeaterStuckOn, SimulatedTank, TankSettings
from rules import (
    HOUR_US,
    AlarmRaised,
    Block,
    Engine,
    EngineRules,
    HeatModel,
    LimitAlarm,
    Priority,
    SeriesRules,
    TankRules,
    fit_heat_model,
    physics,
)
from rules.physics.heat import usual_time_constant_hours
from rules.projection import FARTHEST_US, HEAT_COVERAGE, Projection, project, project_heat
from rules.slope import robust_slope

BESIDE = Path(__file__).resolve().parents[3] / "shared" / "data" / "real"
MINUTE_US = HOUR_US // 60
STEP_US = 5 * MINUTE_US
DAY_US = 24 * HOUR_US
START_US = 1_772_409_600_000_000  # 2026-03-02T00:00:00Z
FORTNIGHT_US = 14 * DAY_US
SIZES = (80.0, 200.0, 400.0, 800.0, 1500.0)
FAULTS = ("heater_failed_off", "heater_stuck_on")
# How far away the line is, degC.
DISTANCES = (0.5, 1.0, 2.0)
HOURS_AFTER = (1.5, 4.0, 8.0)
# Danger lines below and above the setpoint, for what the alarm tells.
DANGERS = (1.0, 2.0, 3.0)


class Told(NamedTuple):
    """A projection and the truth, in minutes from when it was told; None for beyond two days."""

    at: float
    earliest: float | None
    latest: float | None
    truth: float | None

    @property
    def is_held(self) -> bool:
        """Whether the line was reached between earliest and latest."""
        if self.truth is None:
            return self.latest is None
        return (
            self.earliest is not None
            and self.earliest <= self.truth
            and (self.latest is None or self.truth <= self.latest)
        )


def told(projection: Projection, now_us: int, truth: float | None) -> Told:
    """In minutes."""
    at, earliest, latest = (
        None if one is None else (one - now_us) / MINUTE_US
        for one in (projection.at_us, projection.earliest_us, projection.latest_us)
    )
    assert at is not None
    return Told(at, earliest, latest, truth)


def reached(truth: np.ndarray, line: float, sign: int, minutes: float) -> float | None:
    """After how many minutes a line is first reached, within two days; `minutes` lie between values."""
    where = np.flatnonzero(sign * (truth - line) >= 0.0)
    found = None if not len(where) else (int(where[0]) + 1) * minutes
    return None if found is None or found > FARTHEST_US / MINUTE_US else found


class Tally:
    """What was told under each heading, and how many lines were reached of which nothing had been told."""

    def __init__(self) -> None:
        self.told: dict[str, list[Told]] = {}
        self.untold: dict[str, int] = {}

    def add(self, heading: str, one: Told | None, truth: float | None) -> None:
        """Count a line."""
        if one is not None:
            self.told.setdefault(heading, []).append(one)
        elif truth is not None:
            self.untold[heading] = self.untold.get(heading, 0) + 1

    def row(self, heading: str, stated: str) -> str:
        """A row of the table."""
        from statsmodels.stats.proportion import proportion_confint

        found = self.told.get(heading, [])
        if not found:
            return f"| {heading} | 0 | {stated} | | | | | | {self.untold.get(heading, 0)} |"
        held = sum(one.is_held for one in found)
        low, high = proportion_confint(held, len(found), method="wilson")
        known = [one for one in found if one.truth is not None]
        errors = [abs(one.at - one.truth) for one in known if one.truth is not None]
        shares = [100 * abs(one.at - one.truth) / one.truth for one in known if one.truth]
        early = [one.at - one.truth for one in known if one.truth is not None]
        widths = [
            100 * (one.latest - one.earliest) / one.at
            for one in found
            if one.latest is not None and one.earliest is not None
        ]
        error, share, bias, width = (
            f"{statistics.median(values):{form}}" if values else "-"
            for values, form in ((errors, ".0f"), (shares, ".0f"), (early, "+.0f"), (widths, ".0f"))
        )
        return (
            f"| {heading} | {len(found)} | {stated} | {100 * held / len(found):.0f} % | "
            f"{100 * low:.0f} to {100 * high:.0f} % | {error} min, {share} % | {bias} min | {width} % | "
            f"{self.untold.get(heading, 0)} |"
        )


# -- computed tanks --------------------------------------------------------------------------------


def settings_of(volume: float, rng: np.random.RandomState) -> TankSettings:
    """A tank of a size in its room; one whose heater idles or never rests is drawn again."""
    surface = (volume / 400.0) ** (2 / 3)
    while True:
        drawn = TankSettings(
            volume_litres=volume,
            setpoint=rng.uniform(25.0, 26.0),
            heater_watts=volume * rng.uniform(0.7, 1.3),
            equipment_watts=volume * rng.uniform(0.1, 0.2),
            lights_watts=volume * rng.uniform(0.15, 0.4),
            loss_watts_per_kelvin=20.0 * surface * rng.uniform(0.8, 1.25),
            room=rng.uniform(18.5, 23.0),
            room_swing=rng.uniform(0.5, 2.0),
            room_wander=rng.uniform(0.2, 0.8),
            evaporation_per_day=rng.uniform(0.006, 0.018),
            return_section_m2=0.18 * surface,
            top_off_litres_per_hour=0.03 * volume,
            reservoir_litres=0.2 * volume,
        )
        takes = drawn.loss_watts_per_kelvin * (drawn.setpoint - drawn.room)
        takes += physics.evaporation_watts(volume * drawn.evaporation_per_day)
        duty = (takes - drawn.equipment_watts - drawn.lights_watts / 2) / drawn.heater_watts
        if 0.15 <= duty <= 0.65:
            return drawn


@dataclass(frozen=True)
class Lived:
    """A tank that has failed: five-minute readings from START_US on, and its true temperature behind each."""

    settings: TankSettings
    model: HeatModel | None
    failed_us: int
    sign: int
    times_us: np.ndarray
    columns: dict[str, np.ndarray]
    truth: np.ndarray

    def row(self, time_us: int) -> int:
        """Of the first reading that is not before an instant."""
        return int(np.searchsorted(self.times_us, time_us))

    def truth_from(self, time_us: int, line: float) -> float | None:
        """After how many minutes the water is truly there."""
        minutes = STEP_US / MINUTE_US
        return reached(self.truth[self.row(time_us) :], line, self.sign, minutes)


def live(volume: float, seed: int) -> Iterator[Lived]:
    """A fortnight of a tank, and what follows for each of the faults."""
    rng = np.random.RandomState(seed)
    settings = settings_of(volume, rng)
    failed_us = START_US + FORTNIGHT_US + int(rng.uniform(0.0, 24.0) * HOUR_US)
    for fault, sign in ((HeaterFailedOff, -1), (HeaterStuckOn, +1)):
        # The same seed is the same tank until it fails.
        tank = SimulatedTank(settings, seed=seed, start_us=START_US - DAY_US, faults=[fault(failed_us)])
        tank.advance_to(START_US)
        times_us, columns, truth = _recorded(tank, failed_us + FARTHEST_US + 12 * HOUR_US)
        before = int(np.searchsorted(times_us, failed_us))
        model = _fit(times_us[:before], {name: column[:before] for name, column in columns.items()})
        yield Lived(settings, model, failed_us, sign, times_us, columns, truth)


def _recorded(tank: SimulatedTank, to_us: int) -> tuple[np.ndarray, dict[str, np.ndarray], np.ndarray]:
    times_us = np.arange(-(-tank.now_us // STEP_US) * STEP_US, to_us, STEP_US)
    rows, truth = [], []
    for time_us in times_us.tolist():
        tank.advance_to(time_us)
        rows.append(tank.read())
        truth.append(tank.temperature)
    names = ("temperature", "room_temperature", "heater_power")
    return times_us, {name: np.array([row[name] for row in rows]) for name in names}, np.array(truth)


def _fit(times_us: np.ndarray, columns: dict[str, np.ndarray]) -> HeatModel | None:
    count = len(times_us) // 3
    quarters = {name: column[: 3 * count].reshape(count, 3).mean(axis=1) for name, column in columns.items()}
    model = fit_heat_model(
        times_us[: 3 * count : 3],
        quarters["temperature"],
        "UTC",
        room=quarters["room_temperature"],
        heater=quarters["heater_power"],
    )
    return model if isinstance(model, HeatModel) and model.time_constant_hours is not None else None


def alarm_told(lived: Lived, danger: float, *, has_model: bool) -> tuple[Projection | None, int] | None:
    """What the first alarm of the fault tells of a danger line, and when; None if there is none before it."""
    volume = lived.settings.volume_litres
    tank = TankRules("reef", "UTC", volume, frozenset({"heater"}))
    limit = LimitAlarm(danger, lived.sign > 0, True, 0.1, 0, 0, Priority.URGENT)
    names = ("temperature", "room_temperature", "heater_power") if has_model else ("temperature",)
    series = tuple(
        SeriesRules(
            "reef",
            name,
            "power" if name == "heater_power" else "temperature",
            limit_alarms=(limit,) if name == "temperature" else (),
        )
        for name in names
    )
    engine = Engine(EngineRules((tank,), series))
    if has_model and lived.model is not None:
        engine.set_models({"reef": lived.model})
    first, last = lived.row(lived.failed_us - 4 * DAY_US), lived.row(lived.failed_us + 14 * HOUR_US)
    times_us = np.repeat(lived.times_us[first:last], len(names))
    values = np.column_stack([lived.columns[name][first:last] for name in names]).ravel()
    events = engine.advance(Block(times_us, values, np.tile(np.arange(len(names)), last - first))).events
    cause = FAULTS[lived.sign > 0]
    for event in events:
        if isinstance(event, AlarmRaised) and event.alarm.cause == cause and event.at_us >= lived.failed_us:
            told_of = event.evidence
            if lived.sign * (danger - lived.truth[lived.row(event.at_us)]) <= 0.0:
                return None  # over it already
            if told_of.danger_at_us is None:
                return None, event.at_us
            edges = (told_of.danger_earliest_us, told_of.danger_latest_us)
            return Projection(danger, told_of.danger_at_us, *edges), event.at_us
    return None


def by_model(lived: Lived) -> Callable[..., Projection | None]:
    """`project_heat` with what was learned of this tank."""
    assert lived.model is not None
    hours, day = lived.model.time_constant_hours, lived.model.day
    assert hours is not None

    def projected(now_us: int, value: float, cells: Sequence[float], low: float | None, high: float | None):
        hour = now_us % DAY_US / HOUR_US
        slope = robust_slope(cells, 1 / 12).median
        return project_heat(now_us, value, slope, hours, low, high, day=day, hour=hour)

    return projected


def by_volume(litres: float) -> Callable[..., Projection | None]:
    """`project_heat` with what a tank of that volume usually has."""
    hours = usual_time_constant_hours(litres)

    def projected(now_us: int, value: float, cells: Sequence[float], low: float | None, high: float | None):
        return project_heat(now_us, value, robust_slope(cells, 1 / 12).median, hours, low, high)

    return projected


def by_line(now_us: int, value: float, cells: Sequence[float], low: float | None, high: float | None):
    """`project`, as of any other series."""
    return project(now_us, value, robust_slope(cells, 1 / 12), low, high)


def at_fixed_times(lived: Lived, tally: Tally, prefix: str = "") -> None:
    """What would be told some hours after the failure, of lines some way ahead."""
    ways = [("volume", by_volume(lived.settings.volume_litres)), ("straight line", by_line)]
    if lived.model is not None:
        ways.insert(0, ("model", by_model(lived)))
    shown = lived.columns["temperature"]
    for hours in HOURS_AFTER:
        now_us = lived.failed_us + int(hours * HOUR_US)
        row = lived.row(now_us)
        value, cells = float(shown[row - 1]), shown[row - 13 : row].tolist()
        for distance in DISTANCES:
            line = value + lived.sign * distance
            truth = lived.truth_from(now_us, line)
            low, high = (line, None) if lived.sign < 0 else (None, line)
            for name, way in ways:
                found = way(now_us, value, cells, low, high)
                one = None if found is None else told(found, now_us, truth)
                tally.add(f"{prefix}{name}, {hours:g} h after", one, truth)


def at_the_alarm(lived: Lived, tally: Tally) -> None:
    """What the alarm tells."""
    for has_model in (True, False):
        if has_model and lived.model is None:
            continue
        for distance in DANGERS:
            danger = lived.settings.setpoint + lived.sign * distance
            found = alarm_told(lived, danger, has_model=has_model)
            if found is None:
                continue
            projection, now_us = found
            truth = lived.truth_from(now_us, danger)
            one = None if projection is None else told(projection, now_us, truth)
            way = "model" if has_model else "volume"
            tally.add(f"{way}, at the alarm", one, truth)
            tally.add(f"{way}, at the alarm of {FAULTS[lived.sign > 0]}", one, truth)
            tally.add(f"{way}, at the alarm in {lived.settings.volume_litres:.0f} L", one, truth)


# -- recorded series -------------------------------------------------------------------------------


def recorded(folder: Path, tally: Tally) -> list[str]:
    """Project recorded temperatures every six hours wherever they rise or fall; return the headings."""
    from tests.bench.baseline import beside

    headings = []
    for series in beside(folder):
        if not series.name.endswith(("temp", "Tp")):
            continue
        quarter_us = HOUR_US // 4
        places = (series.times_us - series.times_us[0]) // quarter_us
        grid = np.full(int(places[-1]) + 1, np.nan)
        grid[places] = series.values
        for row in range(4, len(grid) - 48 * 4, 6 * 4):
            cells, ahead = grid[row - 4 : row + 1], grid[row + 1 : row + 1 + 48 * 4]
            if not np.isfinite(cells).all() or np.isnan(ahead).sum() > 8:
                continue
            slope = robust_slope(cells.tolist(), 0.25)
            if not abs(slope.median) >= 0.1:
                continue
            sign, value = (1 if slope.median > 0 else -1), float(cells[-1])
            for distance in DISTANCES:
                line = value + sign * distance
                low, high = (None, line) if sign > 0 else (line, None)
                truth = reached(ahead, line, sign, 15.0)
                hours = usual_time_constant_hours(400.0)
                for name, found in (
                    ("straight line", project(0, value, slope, low, high)),
                    ("as 400 L", project_heat(0, value, slope.median, hours, low, high)),
                ):
                    one = None if found is None else told(found, 0, truth)
                    tally.add(f"{series.name}, {name}", one, truth)
        headings += [f"{series.name}, {name}" for name in ("straight line", "as 400 L")]
    return headings


# -- the tables ------------------------------------------------------------------------------------

HEAD = (
    "| what | told | stated | held | Wilson, 95 % | error, median | too late, median | width | not told |\n"
    "|---|---|---|---|---|---|---|---|---|"
)


def lived_of(sizes: Iterable[float], tanks: int) -> Iterator[Lived]:
    """Every tank with every fault."""
    for volume in sizes:
        for seed in range(tanks):
            yield from live(volume, seed)


def main() -> None:
    """Measure and print the tables."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--tanks", type=int, default=4, help="of each size (default 4)")
    parser.add_argument(
        "--sizes",
        default=",".join(f"{size:g}" for size in SIZES),
        help="litres, separated by commas (default %(default)s)",
    )
    parser.add_argument("--data", type=Path, default=BESIDE, help="folder of the recorded series")
    options = parser.parse_args()
    sizes = [float(size) for size in options.sizes.split(",")]
    stated = f"{100 * HEAT_COVERAGE:.0f} %"
    tally = Tally()
    without = 0
    every = lived_of(sizes, options.tanks)
    for lived in tqdm(every, total=len(sizes) * options.tanks * 2, unit="failure", disable=None):
        without += lived.model is None
        at_the_alarm(lived, tally)
        at_fixed_times(lived, tally)
    print(f"{len(sizes) * options.tanks} tanks, {without // 2} of them without a time constant.\n\n{HEAD}")
    for heading in sorted(tally.told, key=lambda one: (one.split(",")[0], "alarm" not in one, len(one), one)):
        print(tally.row(heading, "-" if heading.startswith("straight") else stated))
    if options.data.is_dir():
        records = Tally()
        headings = recorded(options.data, records)
        print(f"\n{HEAD}")
        for heading in headings:
            print(records.row(heading, "-" if heading.endswith("line") else stated))


if __name__ == "__main__":
    main()
