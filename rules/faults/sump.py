"""What the level in the sump usually does, and how it does now: its marks, its pace, pauses and hands.

A top-off holds the level between two marks: evaporation lowers it slowly, and the pump lifts it. What is
usual is taken once an hour from three days that ended six hours ago, so that a fault does not make itself
usual, and by quantiles, so that feeding pauses and water changes do not either.
"""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

import numpy as np

from rules.blocks import FloatArray
from rules.hours import RECENT_HOURS, Hours
from rules.known import in_order, quantile
from rules.look import Look, TankLook
from rules.trace import HOUR_CELLS, LOOK_BACK_CELLS, MINUTE_US, NAN, STEP_US

# No probe shows less, whatever margin a keeper sets, cm.
LEAST_MARGIN = 0.02
_MOST_PAUSED_CELLS = 9
LOOK_BACK_MINUTES = LOOK_BACK_CELLS * STEP_US // MINUTE_US
_RECENT_CELLS = RECENT_HOURS * HOUR_CELLS
# A day at least is needed to say what is usual.
_LEAST_SPAN_CELLS = 20 * HOUR_CELLS
_FEWEST = 24
# Feeding pauses and water changes take less of three days than this.
_PAUSED_SHARE = 0.04
# A fall is taken over half an hour, and what lies beyond these shares of all such stretches counts as they
# do: those above hold a refill, those below the end of a pause, of which a day may have three that take 2 %
# of it each. A mean, for a coarse probe falls by steps.
_FALL_CELLS = 6
_FALLING = (0.12, 0.65)
# Where refills come every few minutes only what happens between two of them shows a fall.
_SLIP_CELLS = 2
_SLIPPING = 0.25
# Of the stretches of three hours an eighth hold the one refill of the day.
_SINK_CELLS = 3 * HOUR_CELLS
_SINKING = (0.05, 0.85)
# Marks closer together than this, or refills more often, and the level does not show how fast it falls.
_LEAST_RANGE = 0.25
# Then evaporation takes no more than this, cm/h: 2 % a day of 800 L from a third of a square metre (common
# practice, no source).
_GREATEST_FALL = 0.2
_LEAST_FALL = 0.02
# Of white noise the mean of the smaller nine tenths of the steps between neighbours is 0.93 of its standard
# deviation, whatever the last digit, and 92 % of it lie within 3.5 of them.
_SMALL_STEPS = 0.9
_STEP_TO_SIGMA = 0.93
_RANGE_OF_NOISE = 3.5
_LEAST_PERIOD = 2.0


class SumpUsual(NamedTuple):
    """How a level usually moves, in cm and cm/h; NaN: not known.

    Parameters
    ----------
    low, high
        Its range without pauses.
    falls
        How fast it falls between refills.
    slips
        The same within ten minutes, with more of the noise in it.
    span
        How far its marks lie apart, without the noise that widens the range.
    sinks
        The same as `falls` over three hours, where nothing but a hand once a day refills.
    """

    low: float
    high: float
    falls: float
    slips: float
    span: float
    sinks: float

    @property
    def shows_falls(self) -> bool:
        """Whether its marks lie far enough apart to see how fast it falls between refills."""
        return self.shows(1.0)

    @property
    def evaporates(self) -> float:
        """How fast it falls by evaporation alone; the most that is usual where its marks do not show it."""
        falls = self.falls if self.falls == self.falls else 0.0
        return max(falls, _LEAST_FALL if self.shows_falls else _GREATEST_FALL)

    def shows(self, ratio: float) -> bool:
        """Whether they would, if it fell so many times faster."""
        return self.span >= _LEAST_RANGE and self.span >= _LEAST_PERIOD * ratio * self.falls > 0.0


def _moves(cells: FloatArray, lag: int) -> FloatArray:
    return in_order(cells[lag:] - cells[:-lag])


def _falls(cells: FloatArray) -> float:
    return _mean_fall(cells, _FALL_CELLS, _FALLING)


def _mean_fall(cells: FloatArray, lag: int, shares: tuple[float, float]) -> float:
    """Mean fall per hour over stretches of `lag` cells, those beyond the shares counted as they."""
    moves = _moves(cells, lag).tolist()
    if not moves:
        return NAN
    first, last = (int(share * len(moves)) for share in shares)
    total = first * moves[first] + sum(moves[first:last]) + (len(moves) - last) * moves[last]
    return float(-total / len(moves) / lag * HOUR_CELLS)


def _slips(cells: FloatArray) -> float:
    moves = _moves(cells, _SLIP_CELLS)
    return -float(moves[int(_SLIPPING * len(moves))]) / _SLIP_CELLS * HOUR_CELLS if len(moves) else NAN


def _sinks(cells: FloatArray) -> float:
    return _mean_fall(cells, _SINK_CELLS, _SINKING)


def _usual_sump(hours: Hours) -> SumpUsual:
    past = hours.cells[:-_RECENT_CELLS]
    places = np.flatnonzero(past == past)
    if len(places) < _FEWEST or places[-1] - places[0] < _LEAST_SPAN_CELLS:
        return SumpUsual(NAN, NAN, NAN, NAN, NAN, NAN)
    ordered = np.sort(past[places])
    low, high = quantile(ordered, _PAUSED_SHARE), quantile(ordered, 1.0 - _PAUSED_SHARE)
    steps = np.sort(np.abs(_moves(past, 1))).tolist()
    steps = steps[: int(_SMALL_STEPS * len(steps))]
    noise = sum(steps) / len(steps) / _STEP_TO_SIGMA if steps else 0.0
    return SumpUsual(
        low, high, _falls(past), _slips(past), high - low - _RANGE_OF_NOISE * noise, _sinks(past)
    )


def usual_sump(level: Look) -> SumpUsual:
    """What is usual of a level, as of the last whole hour."""
    return level.hours.once(_usual_sump)


class FallRatio(NamedTuple):
    """How many times faster than usual a level falls between refills; NaN where it does not show.

    `is_slipping` says that it falls by more than noise within ten minutes, again and again.
    """

    falls: float
    slips: float
    is_slipping: bool


NO_RATIO = FallRatio(NAN, NAN, False)
_LEAST_SLIP_NOISES = 2.0


def fall_ratio(level: Look, usual: SumpUsual, hours: int) -> FallRatio:
    """How much faster than usual the level has fallen in the last hours, four at least."""
    cells = np.asarray(level.cells(60 * max(hours, 4)))
    slips = _slips(cells)
    more = (slips - usual.slips) * _SLIP_CELLS / HOUR_CELLS
    return FallRatio(
        _falls(cells) / usual.falls if usual.shows_falls else NAN,
        slips / usual.slips if usual.slips > 0.0 else NAN,
        more > _LEAST_SLIP_NOISES * level.noise_of_level and slips > 1.6 * usual.slips,
    )


def _falls_of_a_day(hours: Hours) -> float:
    return _falls(hours.cells[-24 * HOUR_CELLS :])


def fall_ratio_of_a_day(level: Look, usual: SumpUsual) -> float:
    """How many times faster than usual the level fell in the last 24 whole hours; NaN: does not show.

    It does not on a day of which hands and pauses took more than three quarters of an hour.
    """
    if not usual.shows_falls or _count_far(level, usual, 24 * 60) > _MOST_PAUSED_CELLS:
        return NAN
    return level.hours.once(_falls_of_a_day) / usual.falls


def _count_far(level: Look, usual: SumpUsual, minutes: int) -> int:
    far = max(1.0, usual.high - usual.low)
    low, high = usual.low - far, usual.high + far
    return sum(value == value and not low < value < high for value in level.cells(minutes))


def was_disturbed(level: Look, usual: SumpUsual, minutes: int) -> bool:
    """Whether the level has left its range by far: a water change, a pause, or hands in the sump."""
    return _count_far(level, usual, minutes) > 0


def minutes_beyond(level: Look, line: float, *, is_high: bool, most: int = LOOK_BACK_MINUTES) -> int:
    """For how long the level has lain beyond a line without a break."""
    count = 0
    for value in reversed(level.cells(most)):
        if value == value and not (value > line if is_high else value < line):
            break
        count += 1
    return count * STEP_US // MINUTE_US


def greatest_step(look: Look, minutes: int, *, is_rise: bool) -> float:
    """The greatest rise (or fall) from one known cell to the next in the last minutes, 0 for none."""
    known = [value for value in look.cells(minutes) if value == value]
    if is_rise:
        return max((after - before for before, after in pairwise(known)), default=0.0)
    return max((before - after for before, after in pairwise(known)), default=0.0)


def return_stands(tank: TankLook) -> bool:
    """Whether the return pump is known to stand, or has just stood: the level tells of it alone."""
    power = tank.look("return_pump_power")
    if power is None or not power.habits.day_high > 0.0:
        return False
    return any(value < 0.1 * power.habits.day_high for value in power.cells(20))
