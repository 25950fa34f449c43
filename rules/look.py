"""What a fault can see: one series at one step, and the tank with all its series.

Looks are cheap until they are asked: a slope is computed when the first fault asks for it, and kept
for the others. All answers are NaN, or None, where a thing is not known; comparisons with NaN are
False, so what is not known is never a symptom.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from copy import copy

from rules.baseline import Band, Baseline
from rules.change.step import Step, find_step
from rules.habits import Habits
from rules.heat_model import HeatModel
from rules.hours import Drift, Hours
from rules.known import in_order, middle
from rules.setup import SeriesRules, TankRules
from rules.slope import UNKNOWN, Slope, robust_slope
from rules.trace import HOUR_CELLS, MINUTE_US, NAN, STEP_US, Trace

# A value is held where the next cells have none: over ten minutes, or twice the interval of a slow
# series, so that one lost message hides nothing.
_HOLD_CELLS = 2
# A series is late when its next reading is a quarter of its interval overdue.
_LATE_INTERVALS = 1.25
# A slope is taken over at most this many points, for the pairs grow with their square.
_MOST_POINTS = 13
# Windows of the steady slope, minutes, the quickest first.
_STEADY_MINUTES = (30, 60, 180)
# What moves by this many noises of a level, or last digits, from end to end of a window has moved.
_LEAST_NOISES = 4.0
_LEAST_DIGITS = 2.5


class Look:
    """One series at one step.

    Attributes
    ----------
    series
        Its rules: name, quantity, limits.
    end_us
        The instant of the step; everything lies before it.
    value
        Median of the newest cell, held for a while; NaN where there is none.
    age_us
        How long ago the newest cell ended, microseconds.
    habits
        Noise, resolution and range of the last day.
    is_flat
        Whether the flat line test fails: the probe is stuck, and speaks for no water.
    is_known
        Whether there is a value now that speaks for the water.
    is_fresh
        Whether the value is as young as this series gives them; nothing is concluded from a held one.
    """

    __slots__ = (
        "_band",
        "_baseline",
        "_hours",
        "_levels",
        "_slopes",
        "_step",
        "_trace",
        "age_us",
        "end_us",
        "habits",
        "is_flat",
        "is_fresh",
        "is_known",
        "name",
        "series",
        "value",
    )

    def __init__(
        self,
        series: SeriesRules,
        trace: Trace,
        step: int,
        baseline: Baseline | None,
        habits: Habits,
        hours: Hours | None = None,
    ) -> None:
        self.series = series
        # The name of the series within its tank.
        self.name = series.name
        self.end_us = (step + 1) * STEP_US
        self.habits = habits
        self.is_flat = trace.is_flat
        self._trace = trace
        self._step = step
        self._hours = hours
        self._baseline = baseline
        self._band: Band | None = None
        self._slopes: dict[int, Slope] = {}
        self._levels: dict[tuple[int, int], float] = {}
        age_cells = step - trace.last_cell
        self.age_us = age_cells * STEP_US
        held = max(_HOLD_CELLS, 2 * habits.interval_cells) if age_cells else 0
        self.value = value = trace.medians[-1 - age_cells] if age_cells <= held else NAN
        self.is_known = value == value and not self.is_flat
        self.is_fresh = age_cells == 0 or age_cells <= _LATE_INTERVALS * habits.interval_cells - 1

    @property
    def last_us(self) -> int:
        """When the newest reading was observed."""
        return self._trace.last_us

    def without_past(self) -> Look:
        """The same, to be kept: of its past only what has been asked before can be asked again."""
        kept = copy(self)
        kept._hours = kept._baseline = None
        kept._levels = {}
        del kept._trace
        return kept

    # -- the past ----------------------------------------------------------------------------------

    def cells(self, minutes: int) -> Sequence[float]:
        """Medians of the last cells, the newest last, NaN where there were no readings; 3 days at most."""
        return self._trace.medians[-minutes * MINUTE_US // STEP_US :]

    def noises(self, minutes: int) -> Sequence[float]:
        """Noise of the last cells, the newest last; see `rules.trace.Cell`."""
        return self._trace.noises[-minutes * MINUTE_US // STEP_US :]

    def slope(self, minutes: int) -> Slope:
        """Robust slope per hour over the last `minutes`, in the unit of the series."""
        found = self._slopes.get(minutes)
        if found is None:
            found = self._slopes[minutes] = self._slope(minutes)
        return found

    def _slope(self, minutes: int) -> Slope:
        count = minutes * MINUTE_US // STEP_US
        stride = max(1, count // (_MOST_POINTS - 1))
        medians = self._trace.medians
        if stride == 1:
            return robust_slope(medians[-count - 1 :], 1 / HOUR_CELLS)
        # The newest cell is always among them.
        points = medians[-1 : -count - 2 : -stride]
        points.reverse()
        return robust_slope(points, stride / HOUR_CELLS)

    def span(self, minutes: int) -> float:
        """Highest less lowest of the last cells; 0 where there are none."""
        found = [value for value in self.cells(minutes + 5) if value == value]
        return max(found) - min(found) if found else 0.0

    def recent_resolution(self, minutes: int) -> float:
        """The middle one of the smallest steps in the last cells; 0 where there were none."""
        steps = self._trace.smallest_steps[-minutes * MINUTE_US // STEP_US :]
        known = in_order(steps)
        return middle(known) if len(known) else 0.0

    def rest_cells(self) -> int:
        """For how many cells the value has stood still to the last digit, holes not counted."""
        rest = 0
        value, trace = self.value, self._trace
        for median, smallest in zip(reversed(trace.medians), reversed(trace.smallest_steps), strict=True):
            if median == median:
                if median != value or smallest == smallest:
                    break
                rest += 1
        return round(rest * max(1.0, self.habits.interval_cells)) if rest > 1 else rest

    def steady_slope(self) -> Slope:
        """Slope per hour over the shortest of 30, 60 and 180 minutes in which the value has surely moved.

        Not known where it has moved in none of them: what a last digit or noise does is no slope.
        """
        for minutes in _STEADY_MINUTES:
            if self.is_distinct(minutes):
                return self.slope(minutes)
        return UNKNOWN

    def is_distinct(self, minutes: int) -> bool:
        """Whether the slope over the last `minutes` is more than noise and resolution can make of a level."""
        slope = self.slope(minutes)
        if not slope.is_known or slope.low < 0.0 < slope.high:
            return False
        moved = abs(slope.median) * minutes / 60
        # The habits of a series that has just begun are not known, and its last digit shows at once.
        digit = max(self.habits.resolution, self.recent_resolution(minutes))
        return moved >= max(_LEAST_NOISES * self.noise_of_level, _LEAST_DIGITS * digit)

    def level(self, minutes: int, minutes_ago: int = 0) -> float:
        """Median of the cells of a stretch of `minutes` that ended `minutes_ago`; NaN for none."""
        found = self._levels.get((minutes, minutes_ago))
        if found is None:
            found = self._levels[minutes, minutes_ago] = self._level(minutes, minutes_ago)
        return found

    def _level(self, minutes: int, minutes_ago: int) -> float:
        medians = self._trace.medians
        end = len(medians) - minutes_ago * MINUTE_US // STEP_US
        start = max(0, end - max(1, minutes * MINUTE_US // STEP_US))
        if end <= 0:
            return NAN
        known = sorted(value for value in medians[start:end] if value == value)
        size = len(known)
        return (known[(size - 1) // 2] + known[size // 2]) / 2 if size else NAN

    def change(self, minutes: int, *, over: int = 15) -> float:
        """By how much the level of the last `over` minutes differs from that of `minutes` ago."""
        return self.level(over) - self.level(over, minutes)

    def step(self, minutes: int) -> Step | None:
        """The greatest step of the level in the last `minutes`, its place counted in cells; None for none."""
        return find_step(self.cells(minutes), self.noise_of_level)

    @property
    def hours(self) -> Hours:
        """The last three days, hour by hour."""
        if self._hours is None:
            self._hours = Hours(self._trace, self._step, self._baseline)
        return self._hours

    def drift(self) -> Drift | None:
        """The slow move of three days against the baseline; None where not known."""
        return self.hours.drift

    # -- what is usual -----------------------------------------------------------------------------

    @property
    def band(self) -> Band | None:
        """What is usual now; None while learning."""
        if self._band is None and self._baseline is not None:
            self._band = self._baseline.band_at(self.end_us - STEP_US // 2)
        return self._band

    def band_before(self, minutes: int) -> Band | None:
        """What was usual some minutes ago; None while learning."""
        if self._baseline is None:
            return None
        return self._baseline.band_at(self.end_us - STEP_US // 2 - minutes * MINUTE_US)

    def above_usual(self) -> float:
        """How far the value lies above the usual band, below 0 within it; NaN where not known."""
        band = self.band
        return NAN if band is None else self.value - band.high

    def below_usual(self) -> float:
        """How far the value lies below the usual band, below 0 within it; NaN where not known."""
        band = self.band
        return NAN if band is None else band.low - self.value

    @property
    def noise_of_level(self) -> float:
        """What a difference of cell medians must exceed to be more than noise and resolution: one sigma."""
        habits = self.habits
        scatter = habits.scatter if habits.scatter == habits.scatter else 0.0
        return max(scatter, 0.5 * habits.resolution)


class TankLook:
    """A tank at one step.

    Attributes
    ----------
    rules
        Volume, equipment, time zone and what else is known of the tank.
    end_us
        The instant of the step.
    series
        Every series that has been heard within a day, by name.
    silent_us
        Series name -> since when it has been silent, for those that are overdue by their gap limit or,
        without one, by three of their intervals; empty while nothing can be heard.
    boards_offline
        Boards whose last will was published, each with its series and since when.
    heat
        How the tank takes and loses heat, None where its history does not tell.
    listening_from_us
        Since when everything can be heard, None for not now: what was not heard before was not silent.
    """

    __slots__ = (
        "_roles",
        "boards_offline",
        "end_us",
        "heat",
        "listening_from_us",
        "rules",
        "series",
        "silent_us",
    )

    def __init__(
        self,
        rules: TankRules,
        end_us: int,
        series: Mapping[str, Look],
        roles: Mapping[str, str],
        silent_us: Mapping[str, int],
        boards_offline: Mapping[str, tuple[tuple[str, ...], int]],
        heat: HeatModel | None = None,
        listening_from_us: int | None = 0,
    ) -> None:
        self.rules = rules
        self.end_us = end_us
        self.series = series
        self.silent_us = silent_us
        self.boards_offline = boards_offline
        self.heat = heat
        self.listening_from_us = listening_from_us
        self._roles = roles

    def with_series(self, series: Mapping[str, Look]) -> TankLook:
        """The same tank with these looks instead."""
        return TankLook(
            self.rules,
            self.end_us,
            series,
            self._roles,
            self.silent_us,
            self.boards_offline,
            self.heat,
            self.listening_from_us,
        )

    def look(self, role: str) -> Look | None:
        """The series that has a role, None where the tank has none or it has not been heard for a day."""
        name = self._roles.get(role)
        return None if name is None else self.series.get(name)

    def role_of(self, name: str) -> str | None:
        """The role of a series, None for none."""
        for role, series in self._roles.items():
            if series == name:
                return role
        return None

    def known(self, role: str) -> Look | None:
        """The same where it has a value now and is not stuck."""
        look = self.look(role)
        return look if look is not None and look.is_known else None

    def has(self, equipment: str) -> bool:
        """Whether that equipment hangs on the tank."""
        return equipment in self.rules.equipment
