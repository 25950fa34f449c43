"""A month of a tank in which nothing fails, but somebody lives: what may a judge not take for a failure?

Water changes, feeding, dosing, cleaned and calibrated probes, hot and cold days, clocks put forward, networks
that drop out. Sizes are [own] after the husbandry table of common practice. Half of the work is told to the
judge beforehand (planned work), half is not; both are counted apart.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tests.bench.trials.cases import Scene
from tests.bench.trials.worlds import BASIC, DAY_MINUTES, MINUTE_US, World

MONTH_DAYS = 30


@dataclass(frozen=True, slots=True)
class Disturbance:
    """Something that is no failure, and for how long what rings may be blamed on it."""

    name: str
    from_us: int
    to_us: int
    is_told: bool = False


class Life:
    """Puts a month's disturbances into a scene and keeps their list."""

    def __init__(self, scene: Scene, index: int) -> None:
        self.scene = scene
        self.world: World = scene.world
        self.rng = scene.rng
        self.index = index
        self.found: list[Disturbance] = []

    @property
    def planned(self) -> list[tuple[str, int, int]]:
        """Kind, begin and end of the work that was told."""
        kinds = {"water change": "water_change", "feeding pause": "feeding_pause", "dosing": "dosing_pause"}
        kinds |= {"probe cleaned": "probe_cleaning", "calibration": "calibration"}
        return [(kinds[d.name], d.from_us, d.to_us) for d in self.found if d.is_told and d.name in kinds]

    def live(self) -> None:
        """Let the month happen."""
        months_day = self.rng.permutation(np.arange(1, MONTH_DAYS - 1)).tolist()
        self.note_feeding()
        told = self.index % 2 == 0
        for week in range(4):
            row = self._row(1 + 7 * week + int(self.rng.integers(0, 5)), float(self.rng.uniform(10.0, 20.0)))
            self.change_water(row, is_told=told ^ (week % 2 == 1))
        for day in months_day[:6]:
            self._dosing(day, is_told=bool(self.rng.random() < 0.5))
        for count, day in enumerate(months_day[6:9]):
            self._probe_cleaned(day, is_told=count % 2 == 0)
        self._calibration(months_day[9], is_told=bool(self.rng.random() < 0.5))
        for day in months_day[10:15]:
            self._drop_out(day)
        self._board_restart(months_day[15])
        self._lights_shift(months_day[16])
        self._resolution(months_day[17])
        self._weather(int(self.rng.integers(4, 20)))
        if self.world.kind == "heated":
            for day in months_day[18:21]:
                self._window(day)

    # -- where -------------------------------------------------------------------------------------

    def _row(self, day: int, hour: float) -> int:
        """A row on the n-th day at an hour of the wall clock."""
        hours = self.scene.drivers.local_hour[day * DAY_MINUTES : (day + 1) * DAY_MINUTES]
        return day * DAY_MINUTES + int(np.argmin(np.abs(hours - hour)))

    def _note(self, name: str, row: int, minutes: int, *, is_told: bool = False) -> None:
        start_us = self.scene.drivers.start_us + row * MINUTE_US
        self.found.append(Disturbance(name, start_us, start_us + minutes * MINUTE_US, is_told))

    def _span(self, row: int, minutes: int) -> tuple[int, int]:
        start_us = self.scene.drivers.start_us + row * MINUTE_US
        return start_us, start_us + minutes * MINUTE_US

    # -- what --------------------------------------------------------------------------------------

    def note_feeding(self) -> None:
        off = self.scene.drivers.return_on == 0.0
        edges = np.flatnonzero(np.diff(np.concatenate(([0], off.astype(int), [0]))))
        for first, last in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
            self._note("feeding pause", first, last - first, is_told=self.world.tells_feeding)

    def change_water(self, row: int, *, is_told: bool) -> None:
        """10 to 20 %: return off, tank water out, new water in a little cooler and not quite as salty."""
        rng, drivers = self.rng, self.scene.drivers
        litres = self.world.volume * float(rng.uniform(0.10, 0.20))
        out, pause, into = (int(rng.integers(*span)) for span in ((8, 20), (3, 12), (8, 20)))
        drivers.return_on[row : row + out + pause + into + 5] = 0.0
        drivers.taken[row : row + out] = litres / out
        start = row + out + pause
        end = start + into + 5
        # Who changes water unplugs the top-off first.
        drivers.pump_gain[row:end] = 0.0
        drivers.pump_watts_gain[row:end] = 0.0
        drivers.given[start : start + into] = litres * float(rng.normal(1.0, 0.004)) / into
        drivers.given_temperature[start : start + into] = float(rng.uniform(22.5, 25.5))
        drivers.given_salinity[start : start + into] = 35.0 + float(rng.normal(0.0, 0.4))
        if rng.random() < 0.5:
            # Out of the display and into it again: the sump sees it only when the return runs again.
            moved = np.cumsum(drivers.taken[row:end] - drivers.given[row:end])
            # The level of a minute is that before the minute's water has moved.
            drivers.display_litres[row + 1 : end] = moved[:-1]
        self._note("water change", row - 2, out + pause + into + 15, is_told=is_told)

    def _dosing(self, day: int, *, is_told: bool) -> None:
        """An evening dose with the return paused for a quarter of an hour: pH moves, then comes back."""
        drivers, rng = self.scene.drivers, self.rng
        row = self._row(day, float(rng.uniform(21.0, 23.0)))
        drivers.return_on[row : row + 15] = 0.0
        size = float(rng.uniform(-0.05, 0.10))
        after = np.arange(min(360, len(drivers) - row))
        drivers.ph_shift[row : row + len(after)] += size * np.minimum(after / 10.0, np.exp(-after / 90.0))
        self._note("dosing", row, 120, is_told=is_told)

    def _probe_cleaned(self, day: int, *, is_told: bool) -> None:
        """One probe out of the water for minutes, and a little different afterwards."""
        rng = self.rng
        name = str(rng.choice(BASIC))
        row, minutes = self._row(day, float(rng.uniform(9.0, 21.0))), int(rng.integers(3, 12))
        start_us, end_us = self._span(row, minutes)
        in_air = {"temperature": 22.5, "ph": 7.2, "practical_salinity": 0.1, "sump_level": 0.0}[name]
        step = float(
            rng.normal(0.0, {"temperature": 0.02, "ph": 0.02, "practical_salinity": 0.1}.get(name, 0.05))
        )

        def out(times: np.ndarray, shown: np.ndarray, chance: np.random.Generator) -> np.ndarray:
            inside = (times >= start_us) & (times < end_us)
            lag = {"temperature": 180e6, "ph": 60e6}.get(name, 5e6)
            left = np.exp(-(times[inside] - start_us) / lag)
            shown = shown.copy()
            shown[inside] = in_air + (shown[inside] - in_air) * left
            shown[times >= end_us] += step
            return shown

        self.scene.tampering.on_truth(name, out)
        self._note("probe cleaned", row, minutes + 10, is_told=is_told)

    def _calibration(self, day: int, *, is_told: bool) -> None:
        """pH or salinity: in a buffer or standard for some minutes, and another offset from then on."""
        rng = self.rng
        name = str(rng.choice(("ph", "practical_salinity")))
        row = self._row(day, float(rng.uniform(10.0, 20.0)))
        minutes = int(rng.integers(6, 15))
        start_us, end_us = self._span(row, minutes)
        standard = {"ph": 7.0, "practical_salinity": 35.0}[name]
        step = float(rng.normal(0.0, {"ph": 0.06, "practical_salinity": 0.4}[name]))

        def moved(times: np.ndarray, shown: np.ndarray, chance: np.random.Generator) -> np.ndarray:
            shown = shown.copy()
            shown[(times >= start_us) & (times < end_us)] = standard
            shown[times >= end_us] += step
            return shown

        self.scene.tampering.on_truth(name, moved)
        self._note("calibration", row, minutes, is_told=is_told)

    def _drop_out(self, day: int) -> None:
        """The network is away for some minutes, and with it all boards; what they had is lost."""
        row = int(day * DAY_MINUTES + self.rng.integers(0, DAY_MINUTES))
        minutes = int(self.rng.integers(2, 11))
        start_us, end_us = self._span(row, minutes)

        def nothing(times: np.ndarray, shown: np.ndarray, chance: np.random.Generator) -> np.ndarray:
            return np.where((times >= start_us) & (times < end_us), np.nan, shown)

        for name in self.world.series:
            self.scene.tampering.on_shown(name, nothing)
        self._note("network drop-out", row, minutes)

    def _board_restart(self, day: int) -> None:
        """A board loses its access point and is back within the minute."""
        row = int(day * DAY_MINUTES + self.rng.integers(0, DAY_MINUTES))
        at_us, _ = self._span(row, 1)
        board = str(self.rng.choice(tuple(self.world.boards)))
        self.scene.boards += [(at_us, board, False), (at_us + 40_000_000, board, True)]
        self._note("board restart", row, 2)

    def _lights_shift(self, day: int) -> None:
        """The keeper moves the lamps by an hour or two, for good."""
        drivers, first = self.scene.drivers, day * DAY_MINUTES
        hours = float(self.rng.choice((-2.0, -1.0, 1.0, 2.0)))
        since = (drivers.local_hour[first:] - self.world.lights_on - hours) % 24.0
        drivers.light[first:] = np.clip(np.minimum(since, self.world.lights_hours - since) / 0.5, 0.0, 1.0)
        self._note("lights shifted", first, 2 * DAY_MINUTES)

    def _resolution(self, day: int) -> None:
        """New firmware: a probe shows one digit less from now on."""
        name = str(self.rng.choice(("temperature", "ph", "practical_salinity")))
        step = {"temperature": 0.1, "ph": 0.05, "practical_salinity": 0.1}[name]
        at_us, _ = self._span(day * DAY_MINUTES + 600, 1)

        def coarse(times: np.ndarray, shown: np.ndarray, chance: np.random.Generator) -> np.ndarray:
            return np.where(times >= at_us, np.round(np.round(shown / step) * step, 6), shown)

        self.scene.tampering.on_shown(name, coarse)
        self._note("resolution changed", day * DAY_MINUTES + 600, DAY_MINUTES)

    def _weather(self, day: int) -> None:
        """Some days on which the room is hot (up to 30 degC and more) or, in a heated tank, cold."""
        drivers, rng = self.scene.drivers, self.rng
        days = int(rng.integers(3, 6))
        first, last = day * DAY_MINUTES, min((day + days) * DAY_MINUTES, len(drivers))
        shape = np.sin(np.linspace(0.0, math.pi, last - first)) ** 0.5
        if self.world.kind == "heated" and rng.random() < 0.4:
            drivers.room[first:last] -= float(rng.uniform(1.5, 3.0)) * shape
            self._note("cold days", first, last - first)
            return
        # Every other heat wave makes a tank without a cooler truly too warm; the others only warm.
        peak = float(rng.choice((27.0, 31.0)))
        if self.world.kind == "cooled":
            peak = max(32.0, self.world.room + 3.0)
        if self.world.cooler == "fan":
            peak = self.world.room + 2.0
        drivers.room[first:last] += (float(rng.uniform(-1.5, 0.5)) + peak - self.world.room) * shape
        self._note("heat wave", first, last - first)

    def _window(self, day: int) -> None:
        """A window stands open for half an hour to an hour on a winter's day."""
        drivers, rng = self.scene.drivers, self.rng
        row = self._row(day, float(rng.uniform(7.0, 22.0)))
        minutes = int(rng.integers(30, 75))
        after = np.arange(min(240, len(drivers) - row))
        drop = np.where(after < minutes, 1.0 - np.exp(-after / 15.0), np.exp(-(after - minutes) / 40.0))
        drivers.room[row : row + len(after)] -= float(rng.uniform(4.0, 8.0)) * drop
        self._note("window open", row, minutes + 60)


def excursions(temperature: np.ndarray, low: float, high: float, start_us: int) -> list[tuple[int, int]]:
    """When water truly was, or would within a day be, beyond the keeper's limits: to ring then is right."""
    beyond = np.flatnonzero((temperature < low) | (temperature > high))
    found: list[tuple[int, int]] = []
    for row in beyond.tolist():
        from_us = start_us + (row - DAY_MINUTES) * MINUTE_US
        to_us = start_us + (row + 360) * MINUTE_US
        if found and from_us <= found[-1][1]:
            found[-1] = (found[-1][0], to_us)
        else:
            found.append((from_us, to_us))
    return found


# How long after its end something may still be what rang, in minutes; otherwise an hour. Level, salinity and
# temperature are hours on their way back after a water change.
_AFTER = {
    "water change": 360,
    "calibration": 120,
    "probe cleaned": 120,
    "heat wave": 720,
    "cold days": 720,
    "lights shifted": 1440,
}


def blamed(found: list[Disturbance], at_us: int) -> Disturbance | None:
    """The disturbance on which something that rang is blamed."""
    soon_us = 30 * MINUTE_US

    def order(one: Disturbance) -> tuple[bool, int, int]:
        # What acts now before what has acted; of these what is short, for it explains more than what lasts
        # for days.
        return at_us > one.to_us + soon_us, one.to_us - one.from_us, -one.from_us

    acting = [d for d in found if d.from_us <= at_us <= d.to_us + _AFTER.get(d.name, 60) * MINUTE_US]
    return min(acting, key=order, default=None)
