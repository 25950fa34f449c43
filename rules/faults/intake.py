"""What the top-off gave: by its reservoir, with what the level still lacks, and by the runs of its pump."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from rules.faults.sump import minutes_beyond, usual_sump
from rules.hours import RECENT_HOURS, Hours, by_hours
from rules.known import middles
from rules.look import Look
from rules.trace import HOUR_CELLS, NAN

_RECENT_CELLS = RECENT_HOURS * HOUR_CELLS
_LEAST_SPAN_CELLS = 20 * HOUR_CELLS

# A rise by more than this within an hour is a refill, and what falls by more at once was taken out by hand or
# lost: no pump gives so much within minutes. In the unit of the reservoir, L.
_REFILLED = 1.0
_LOST_AT_ONCE = 3.0


def _hour_ends(hours: Hours) -> list[float]:
    """Where the level stood at the end of each hour: the median of its last quarter."""
    ends: list[float] = middles(by_hours(hours.cells)[:, -3:]).tolist()
    return ends


def _given_of_hours(hours: Hours) -> list[float]:
    """What a reservoir gave in each whole hour but the first; NaN where it is not known."""
    cells = hours.cells
    first = len(cells) % HOUR_CELLS
    given = []
    for hour, (before, after) in enumerate(pairwise(_hour_ends(hours)), start=1):
        start = first + hour * HOUR_CELLS
        fell = before - after
        is_by_hand = fell < -_REFILLED or (
            fell > _LOST_AT_ONCE and _fell_at_once(cells[start - 1 : start + HOUR_CELLS].tolist())
        )
        given.append(0.0 if is_by_hand else fell)
    return given


def _fell_at_once(cells: Sequence[float]) -> bool:
    known = [value for value in cells if value == value]
    steps = [before - after for before, after in pairwise(known)]
    return bool(steps) and max(steps) > 0.6 * (known[0] - known[-1])


class Intake(NamedTuple):
    """What the tank took in some hours, by its reservoir and its level, and what it usually takes in them.

    `share` is how much that is of what evaporation can make of it, 1 for more than it can.
    """

    size: float
    hours: int
    usual: float
    share: float

    @property
    def ratio(self) -> float:
        """How many times the usual; NaN where it usually takes nothing."""
        return self.size / self.usual if self.usual > 0.0 else NAN


NO_INTAKE = Intake(NAN, 24, NAN, 0.0)
# Evaporation changes by a tenth from hour to hour and day to day, and with a door or a heating by half of it;
# a fan that comes on doubles it for the hours of a warm day.
_MOST_RATIOS = ((2, 4.0), (4, 2.5), (8, 2.0), (24, 1.6))
_MOST_RATIOS_WITH_FAN = ((2, 6.0), (4, 4.0), (8, 3.0), (24, 2.0))


def intakes(reservoir: Look, level: Look | None, *, has_fan: bool) -> tuple[Intake, ...]:
    """What the tank took in the last whole hours, of several windows; none while learning."""
    # All of it is of whole hours.
    return reservoir.hours.once(
        lambda _: _find_intakes(reservoir, level, has_fan=has_fan), key=(_find_intakes, level is None)
    )


def _find_intakes(reservoir: Look, level: Look | None, *, has_fan: bool) -> tuple[Intake, ...]:
    """The same, computed.

    The level counts in: what the pump has brought back of an old fall is not taken now, and what it has
    still to bring back is.
    """
    hourly = reservoir.hours.once(_given_of_hours)
    past = [given for given in hourly[:-RECENT_HOURS] if given == given]
    if len(past) < 20:
        return ()
    mean = max(0.0, sum(past) / len(past))
    litres_per_cm = 0.0
    levels: Sequence[float] = ()
    noise = 4.0 * reservoir.noise_of_level + 2.0 * reservoir.habits.resolution
    usual = None if level is None else usual_sump(level)
    if level is not None and usual is not None and usual.shows_falls:
        near = max(0.3, 0.5 * (usual.high - usual.low))
        levels = [
            value if usual.low - near < value < usual.high + near else NAN
            for value in level.hours.once(_hour_ends)
        ]
        # What was taken is what was given and what the level lost: so much of it is a cm.
        before = [value for value in levels[:-RECENT_HOURS] if value == value]
        lost = before[0] - before[-1] if before else 0.0
        litres_per_cm = max(0.0, sum(past)) / max(
            usual.falls * len(past) - lost, 0.5 * usual.falls * len(past)
        )
        mean = litres_per_cm * usual.falls
        noise += litres_per_cm * (3.0 * level.noise_of_level + 0.5 * (usual.high - usual.low))
    else:
        # One refill more or less.
        noise += max(past)
    # A pause at the end of the hour hides the level: look at the hour before.
    ago = next((ago for ago, value in enumerate(reversed(levels)) if value == value), 0)
    found = []
    for hours, most in _MOST_RATIOS_WITH_FAN if has_fan else _MOST_RATIOS:
        if len(hourly) < hours + ago + 1:
            break
        size = sum(hourly[-hours - ago : len(hourly) - ago])
        if len(levels) > hours + ago:
            size += litres_per_cm * (levels[-hours - ago - 1] - levels[-ago - 1])
        usually = mean * hours
        limit = max(most * usually, usually + noise)
        if size == size:
            found.append(Intake(size, hours, usually, (size - usually) / max(limit - usually, noise, 0.01)))
    return tuple(found)


class PumpUsual(NamedTuple):
    """Power at which a pump runs, and its longest run and rest in cells; NaN and 0 where it never ran."""

    runs_at: float
    longest_run: int
    longest_rest: int


def _usual_pump(hours: Hours) -> PumpUsual:
    past = hours.cells[:-_RECENT_CELLS]
    past = past[past == past]
    if len(past) < _LEAST_SPAN_CELLS:
        return PumpUsual(NAN, 0, 0)
    runs_at = float(past.max())
    if not runs_at > 0.0:
        return PumpUsual(NAN, 0, 0)
    runs = past > 0.3 * runs_at
    edges = np.flatnonzero(runs[1:] != runs[:-1]) + 1
    starts = np.concatenate(([0], edges))
    lengths = np.diff(np.concatenate((starts, [len(runs)])))
    longest_run, longest_rest = (int(lengths[runs[starts] == ran].max(initial=0)) for ran in (True, False))
    return PumpUsual(runs_at, longest_run, longest_rest)


def usual_pump(power: Look) -> PumpUsual:
    """How a pump usually runs, as of the last whole hour."""
    return power.hours.once(_usual_pump)


def run_minutes(power: Look, usual: PumpUsual) -> int:
    """For how long the pump has run without a rest."""
    return minutes_beyond(power, 0.3 * usual.runs_at, is_high=True) if usual.longest_run else 0


def rest_minutes(power: Look, usual: PumpUsual) -> int:
    """For how long the pump has rested, four hours at most."""
    return minutes_beyond(power, 0.3 * usual.runs_at, is_high=False, most=240) if usual.longest_run else 0


def _most_and_mean(hours: Hours) -> tuple[float, float]:
    past = [given for given in _given_of_hours(hours)[:-RECENT_HOURS] if given == given]
    return (max(past), max(0.0, sum(past) / len(past))) if past else (NAN, NAN)


def most_in(reservoir: Look, hours: float) -> float:
    """What a reservoir may give in some hours without anything odd: twice the usual, and one refill."""
    most, mean = reservoir.hours.once(_most_and_mean)
    return most + 2.0 * hours * mean


def draws_much(reservoir: Look) -> bool:
    """Whether a reservoir gave far more than usual in the last day."""
    hourly = [given for given in reservoir.hours.once(_given_of_hours) if given == given]
    past, day = hourly[:-24], hourly[-24:]
    return len(past) >= 20 and sum(day) / len(day) > 1.6 * max(0.0, sum(past) / len(past))
