"""How a tank usually holds its heat, from three days: where does heating set in, how fast does it cool?

A thermostat turns the water round at the same two temperatures, day after day, whatever the lamps and the
room do in between. That is a sharper edge than any usual band: water that lies above it is no matter of the
heater, and water that falls through it, or rises through the other one, is nobody else's. Where the power
of heater or chiller is known, so is at which temperatures they switch.

Everything here is computed when a fault asks, which it does only behind a cheap gate; the last hours are
left out, so that a fault does not make itself usual.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import NamedTuple

import numpy as np

from rules.blocks import FloatArray
from rules.events import Reason, Sign
from rules.hours import Hours
from rules.known import in_order, quantile
from rules.look import Look, TankLook
from rules.setup import HOUR_US
from rules.slope import Slope, robust_slope
from rules.trace import HOUR_CELLS, LOOK_BACK_CELLS, MINUTE_US, NAN, STEP_US

_LOOK_BACK_MINUTES = LOOK_BACK_CELLS * STEP_US // MINUTE_US
_RECENT_CELLS = 6 * HOUR_CELLS
_RECENT_SWITCHING_CELLS = 3 * HOUR_CELLS
_FEWEST_VALUES = 40
_FEWEST_CELLS = 20 * HOUR_CELLS
# Share of three days that a water change, a cleaned probe or an open window may take.
_ODD_SHARE = 0.05
_TURNED_SHARE = 0.015
# Slopes are taken over half an hour, for a quick thermostat turns the water after forty minutes.
_SLOPE_CELLS = 6
_STEEP_SHARE = 0.08
# Days whose lowest temperatures differ by no more were ended by a thermostat, not by the weather.
_HELD_SPREAD = 0.2
# A thermostat's hysteresis is 0.2 to 0.5 degC: it turns the water this far from its mean (common practice,
# no source).
_HALF_HYSTERESIS = 0.25
# Of what a heater takes at most.
_IDLE_SHARE = 0.1
_BUSY_SHARE = 0.5
_FEWEST_SWITCHED = 2
# Of all times it was switched, so many may have been late for other reasons.
_LATE_SHARE = 0.1
# A room colder by this than all day has a window open, degC.
_DRAUGHT = 1.5
_DRAUGHT_MINUTES = 120
# Readings farther apart than this many cells leave holes between the points of a slope.
_DENSE_CELLS = 1.5
_FEWEST_OF_SLOPE = 5
# Less from cell to cell is a movement of water, degC.
_LEAST_STEP = 0.25
# Two probes that part by more within a day do not show the same water; by less they part where one lags.
_PARTED = 0.15
# What each leaves of a finding.
_LEFT_BY_HOUR = 0.6
_LEFT_BY_DAY = 0.5
# A thermostat's hysteresis is 0.2 degC at least (common practice, no source).
_LEAST_TURN = 0.1
# What a plug meters while its equipment rests; a state is 0 or 1.
RESTING_WATTS = 0.5


class Usual(NamedTuple):
    """What the water did in the three days before the last six hours.

    Parameters
    ----------
    low, high
        Where heat usually sets in, and where the water usually ends its rise, degC.
    is_held
        Whether `low` is that of a thermostat: the same on each day.
    falls, rises
        Usual steep slopes over half an hour, degC/h: below 0, and above.
    """

    low: float
    high: float
    is_held: bool
    falls: float
    rises: float


class Switching(NamedTuple):
    """At which temperatures of the water a piece of equipment was switched, and what it takes at full power.

    `on_at` and `off_at` are those at which it sets in and lets go at the latest (the lowest and the highest
    for a heater, the other way round for a cooler), degC; NaN where it was not switched often enough.
    """

    full: float
    on_at: float
    off_at: float


class Doubt(NamedTuple):
    """What speaks against a finding, and the share of its confidence that this leaves."""

    reason: Reason
    left: float


class _Days(NamedTuple):
    """The lowest temperatures of three days, of all and of each, the highest, and steep slopes per hour.

    `turned` is where the water turned on a middling day: a quick fall spends little time there.
    """

    low: float
    lows: tuple[float, ...]
    turned: float
    high: float
    falls: float
    rises: float


def _days(hours: Hours) -> _Days | None:
    past = hours.cells[:-_RECENT_CELLS]
    ordered = in_order(past)
    if len(ordered) < _FEWEST_VALUES or len(past) < _FEWEST_CELLS:
        return None
    lows, highs, turned = [], [], []
    for end in range(len(past), 0, -24 * HOUR_CELLS):
        day = in_order(past[max(0, end - 24 * HOUR_CELLS) : end])
        if len(day) >= _FEWEST_VALUES // 2:
            lows.append(quantile(day, _ODD_SHARE))
            turned.append(quantile(day, _TURNED_SHARE))
            highs.append(quantile(day, 1.0 - _ODD_SHARE))
    slopes = in_order(past[_SLOPE_CELLS:] - past[:-_SLOPE_CELLS])
    falls = rises = NAN
    if len(slopes) >= _FEWEST_VALUES:
        per_hour = HOUR_CELLS / _SLOPE_CELLS
        falls = quantile(slopes, _STEEP_SHARE) * per_hour
        rises = quantile(slopes, 1.0 - _STEEP_SHARE / 2) * per_hour
    low = quantile(ordered, _ODD_SHARE)
    middling = quantile(in_order(turned), 0.5) if turned else low
    highest = max(highs) if highs else float(ordered[-1])
    return _Days(low, tuple(lows), middling, highest, falls, rises)


def usual(subject: Look) -> Usual | None:
    """What the water usually does, as of the last whole hour; None where less than a day is known."""
    return subject.hours.once(_usual)


def _usual(hours: Hours) -> Usual | None:
    days = _days(hours)
    if days is None:
        return None
    low, lows = days.low, days.lows
    is_held = len(lows) > 1 and max(lows) - min(lows) <= _HELD_SPREAD
    centers = hours.centers
    if centers:
        mean_low = min(centers)
        is_held = is_held and low <= mean_low + 0.05
        if not is_held:
            low = min(low, mean_low - _HALF_HYSTERESIS)
    elif not is_held and lows:
        low = min(low, *lows)
    return Usual(min(low, days.turned), days.high, is_held, days.falls, days.rises)


def switching(subject: Look, power: Look, *, warms: bool) -> Switching | None:
    """When equipment that `warms` or cools was switched in three days; None where it never worked.

    As of the last whole hour: faults ask for it at each step.
    """

    def beside(of_power: Hours) -> Switching | None:
        return subject.hours.once(
            lambda of_water: _switching(of_water.cells, of_power.cells, warms=warms),
            (_switching, power.name, warms),
        )

    return power.hours.once(beside, (_switching, subject.name, warms))


def _switching(temperatures: FloatArray, powers: FloatArray, *, warms: bool) -> Switching | None:
    """The same from the cells of both, which end together."""
    count = min(len(temperatures), len(powers))
    powers = powers[len(powers) - count :][:-_RECENT_SWITCHING_CELLS]
    temperatures = temperatures[len(temperatures) - count :][:-_RECENT_SWITCHING_CELLS]
    known = (powers == powers) & (temperatures == temperatures)
    watts, values = powers[known], temperatures[known]
    most = float(watts.max()) if len(watts) else 0.0
    if not most > RESTING_WATTS:
        return None
    full = quantile(np.sort(watts[watts > 0.2 * most]), 0.9)
    # Where it is busy or idle: in between it is either.
    sure = (watts >= _BUSY_SHARE * full) | (watts < _IDLE_SHARE * full)
    is_busy, values = watts[sure] >= _BUSY_SHARE * full, values[sure][1:]
    on, off = values[is_busy[1:] & ~is_busy[:-1]], values[~is_busy[1:] & is_busy[:-1]]
    if len(on) < _FEWEST_SWITCHED or len(off) < _FEWEST_SWITCHED:
        return Switching(full, NAN, NAN)
    late = _LATE_SHARE if warms else 1.0 - _LATE_SHARE
    return Switching(full, quantile(np.sort(on), late), quantile(np.sort(off), 1.0 - late))


def margin_of(subject: Look, least: float, noises: float = 4.0) -> float:
    """How far beyond a usual edge is more than this probe's noise and last digit, degC."""
    return max(least, noises * subject.noise_of_level, 1.5 * subject.habits.resolution)


def hours_beyond(subject: Look, edge: float, sign: int) -> float:
    """For how many hours the water has been beyond an edge: below it (`sign` -1) or above it (+1)."""
    cells = subject.cells(_LOOK_BACK_MINUTES)
    count = 0
    for value in reversed(cells):
        if value == value and sign * (value - edge) < 0.0:
            break
        count += 1
    return count / HOUR_CELLS


def slope_over(subject: Look, minutes: int) -> Slope:
    """Robust slope over a window that holds half a dozen readings at least, whatever their interval."""
    interval = subject.habits.interval_cells
    if not interval > _DENSE_CELLS:
        return subject.slope(minutes)
    least = round(_FEWEST_OF_SLOPE * interval) * STEP_US // MINUTE_US
    # Points that do not lie on the newest cell, too: between readings a slope stays what it was.
    return robust_slope(subject.cells(max(minutes, least) + 5), 1 / HOUR_CELLS)


def steps_since(subject: Look, hours: float, sign: int, greatest_rate: float) -> float:
    """What of a change within the last hours came in steps that no water can take, degC; 0 for nothing.

    Over a hole in the readings water may have moved for as long as it lasted.
    """
    doubt = 4.0 * subject.noise_of_level + greatest_rate / HOUR_CELLS
    least = max(_LEAST_STEP, doubt * max(1.0, subject.habits.interval_cells))
    total, before, missing = 0.0, NAN, 0
    for value in subject.cells(round(hours * 60) + 10):
        if value != value:
            missing += 1
            continue
        move = sign * (value - before)
        if move > least + greatest_rate * missing / HOUR_CELLS:
            total += move
        before, missing = value, 0
    return total


def turns_up(subject: Look, minutes: int) -> list[float]:
    """From where the water turned and rose in the last minutes: a heater that works, at whatever setpoint."""
    least = max(_LEAST_TURN, 4.0 * subject.noise_of_level)
    turns: list[float] = []
    lowest, highest, is_rising = math.inf, -math.inf, False
    for value in subject.cells(minutes):
        if value != value:
            continue
        if is_rising:
            highest = max(highest, value)
            if value <= highest - least:
                is_rising, lowest = False, value
        else:
            lowest = min(lowest, value)
            if value >= lowest + least:
                is_rising, highest = True, value
                turns.append(lowest)
    return turns


def working(power: Look, full: float) -> float:
    """Share of its full power that a piece of equipment has taken in the last quarter of an hour."""
    watts = power.level(15)
    if watts != watts:
        watts = power.value
    return watts / full


def says_second_probe(subject: Look, tank: TankLook) -> Doubt | None:
    """What a second probe of the same water says against a change of the first; None for nothing.

    Where they part within the hour new water has reached one first, or one has failed: what is sure without
    them is told all the same, for it may be the second. Water takes no day to move both.
    """
    other = tank.known("temperature_2")
    if other is None or other.name == subject.name:
        return None
    change, same = subject.change(60), other.change(60)
    doubt = 3.0 * (subject.noise_of_level + other.noise_of_level)
    if abs(change) > doubt and abs(same - change) > max(0.5 * abs(change), doubt):
        reason = Reason(Sign.NEIGHBOR, other.name, same - change, window_us=HOUR_US, speaks_against=True)
        return Doubt(reason, _LEFT_BY_HOUR)
    # What came slowly shows in how far they lie apart now, and lay apart a day ago, each over an hour.
    now, before = (_apart(subject, other, minutes_ago) for minutes_ago in (0, 24 * 60))
    if abs(now - before) > max(_PARTED, doubt / 2):
        reason = Reason(Sign.NEIGHBOR, other.name, before - now, window_us=24 * HOUR_US, speaks_against=True)
        return Doubt(reason, _LEFT_BY_DAY)
    return None


def _apart(subject: Look, other: Look, minutes_ago: int) -> float:
    return subject.level(60, minutes_ago) - other.level(60, minutes_ago)


def band_reason(subject: Look, low: float | None, high: float | None, since_us: int | None = None) -> Reason:
    """The value against where the water usually turns."""
    return Reason(Sign.BAND, subject.name, subject.value, low, high, since_us)


def slope_reason(subject: Look, minutes: int, usual_slope: float) -> Reason:
    """The slope over some minutes against the usual one."""
    is_known = usual_slope == usual_slope
    return Reason(
        Sign.SLOPE,
        subject.name,
        slope_over(subject, minutes).median,
        usual_slope if is_known and usual_slope < 0 else None,
        usual_slope if is_known and usual_slope > 0 else None,
        window_us=minutes * MINUTE_US,
    )


def power_reason(power: Look, *, against: bool = False) -> Reason:
    """What a piece of equipment takes."""
    return Reason(Sign.POWER, power.name, power.value, speaks_against=against)


def cold_room(tank: TankLook) -> Reason | None:
    """That the room is colder than in three days: an open window, which no heater is made for."""
    room = tank.known("room_temperature")
    if room is None:
        return None
    past = in_order(room.cells(_LOOK_BACK_MINUTES)[:-_RECENT_CELLS])
    coldest = min(value for value in (room.value, *room.cells(_DRAUGHT_MINUTES)) if value == value)
    if len(past) < _FEWEST_VALUES or not coldest < quantile(past, 0.02) - _DRAUGHT:
        return None
    return Reason(Sign.ROOM, room.name, coldest, float(past[0]), float(past[-1]), speaks_against=True)


def less_sure(
    confidence: float, reasons: tuple[Reason, ...], doubts: Iterable[Doubt]
) -> tuple[float, tuple[Reason, ...]]:
    """The same with what speaks against it."""
    for doubt in doubts:
        confidence *= doubt.left
        reasons = (*reasons, doubt.reason)
    return confidence, reasons
