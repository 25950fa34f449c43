"""What level, salinity, reservoir and pump say of a tank's water: the parts that its three faults share.

A top-off holds the level between two marks: evaporation lowers it slowly, the pump lifts it, and the
salinity stays. So what is usual is a range of the level, how fast it falls in it, and what the reservoir
gives in an hour. It is taken once an hour from three days that ended six hours ago, so that a fault does
not make itself usual, and by quantiles, so that feeding pauses and water changes do not either.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from rules.hours import RECENT_HOURS
from rules.look import Look, TankLook
from rules.trace import HOUR_CELLS, LOOK_BACK_CELLS, MINUTE_US, NAN, STEP_US

LOOK_BACK_MINUTES = LOOK_BACK_CELLS * STEP_US // MINUTE_US
_RECENT_CELLS = RECENT_HOURS * HOUR_CELLS
# A day at least is needed to say what is usual.
_LEAST_SPAN_CELLS = 20 * HOUR_CELLS
_FEWEST = 24
# Feeding pauses and water changes take less of three days than this.
_PAUSED_SHARE = 0.04
# A fall is taken over half an hour, and what lies between these shares of all such stretches counts: those
# above hold a refill, those below noise.
_FALL_CELLS = 6
_FALLING = (0.15, 0.65)
# Where refills come every few minutes only what happens between two of them shows a fall.
_SLIP_CELLS = 2
_SLIPPING = 0.25
# Marks closer together than this, or refills more often, and the level does not show how fast it falls.
_LEAST_RANGE = 0.25
_LEAST_PERIOD = 1.5


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
    """

    low: float
    high: float
    falls: float
    slips: float

    @property
    def shows_falls(self) -> bool:
        """Whether its marks lie far enough apart to see how fast it falls between refills."""
        span = self.high - self.low
        return span >= _LEAST_RANGE and span >= _LEAST_PERIOD * self.falls > 0.0


def _moves(cells: Sequence[float], lag: int) -> list[float]:
    return sorted(
        move for before, after in zip(cells, cells[lag:], strict=False) if (move := after - before) == move
    )


def _falls(cells: Sequence[float]) -> float:
    moves = _moves(cells, _FALL_CELLS)
    chosen = moves[int(_FALLING[0] * len(moves)) : int(_FALLING[1] * len(moves))]
    return -sum(chosen) / len(chosen) / _FALL_CELLS * HOUR_CELLS if chosen else NAN


def _slips(cells: Sequence[float]) -> float:
    moves = _moves(cells, _SLIP_CELLS)
    return -moves[int(_SLIPPING * len(moves))] / _SLIP_CELLS * HOUR_CELLS if moves else NAN


def _usual_sump(cells: list[float]) -> SumpUsual:
    past = cells[:-_RECENT_CELLS]
    known = [place for place, value in enumerate(past) if value == value]
    if len(known) < _FEWEST or known[-1] - known[0] < _LEAST_SPAN_CELLS:
        return SumpUsual(NAN, NAN, NAN, NAN)
    ordered = sorted(past[place] for place in known)
    last = len(ordered) - 1
    low, high = ordered[round(_PAUSED_SHARE * last)], ordered[round((1.0 - _PAUSED_SHARE) * last)]
    return SumpUsual(low, high, _falls(past), _slips(past))


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
    cells = level.cells(60 * max(hours, 4))
    slips = _slips(cells)
    more = (slips - usual.slips) * _SLIP_CELLS / HOUR_CELLS
    return FallRatio(
        _falls(cells) / usual.falls if usual.shows_falls else NAN,
        slips / usual.slips if usual.slips > 0.0 else NAN,
        more > _LEAST_SLIP_NOISES * level.noise_of_level and slips > 1.6 * usual.slips,
    )


def was_disturbed(level: Look, usual: SumpUsual, minutes: int) -> bool:
    """Whether the level has left its range by far: a water change, a pause, or hands in the sump."""
    far = max(1.0, usual.high - usual.low)
    return any(
        not usual.low - far < value < usual.high + far for value in level.cells(minutes) if value == value
    )


def minutes_beyond(level: Look, line: float, *, is_high: bool) -> int:
    """For how long the level has lain beyond a line without a break."""
    count = 0
    for value in reversed(level.cells(LOOK_BACK_MINUTES)):
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


# -- salinity --------------------------------------------------------------------------------------

# Share of the volume that evaporates in a day at most without being odd (common practice, no source).
GREATEST_USUAL_SHARE = 0.02
# Hours over which a move of salinity is looked for.
_WINDOWS = (1, 2, 4, 8, 16, 24, 48)
# What a healthy probe's reading moves by within an hour, and how that grows with the window: from two
# dozen months of probes that wander as those of a coastal observatory do.
_WANDER_OF_AN_HOUR = 0.25
_WANDER_GROWS = 0.25
_LEAST_NOISES = 4.0
_BINS = 12
# What happens within two of twelve bins is a step: a calibration, a water change, a probe in air.
_STEP_SHARE = 0.6


class SaltMove(NamedTuple):
    """A move of salinity: by how much in how many hours, and as a share of what a probe does by itself."""

    size: float
    hours: int
    share: float


NO_MOVE = SaltMove(0.0, 1, 0.0)


def wander(hours: float) -> float:
    """How far a healthy salinity probe wanders within so many hours."""
    return _WANDER_OF_AN_HOUR * math.pow(hours, _WANDER_GROWS)


def salt_move(salt: Look, *, is_fall: bool) -> SaltMove:
    """The clearest steady fall (or rise) of salinity over one of several windows."""
    sign = -1.0 if is_fall else 1.0
    hourly = [value for value in salt.hours.medians[-25:] if value == value]
    if not hourly or salt.value != salt.value:
        return NO_MOVE
    farthest = max(hourly) if is_fall else min(hourly)
    if sign * (salt.value - farthest) < 0.4 * wander(1):
        return NO_MOVE
    now = salt.level(30)
    noise = 0.7 * _LEAST_NOISES * salt.noise_of_level
    best = NO_MOVE
    for hours in _WINDOWS:
        size = sign * (now - salt.level(30 if hours < 8 else 60, 60 * hours))
        share = size / max(wander(hours), noise)
        if share > best.share and size == size:
            best = SaltMove(size, hours, share)
    if best.share >= 0.4 and _is_step(salt.cells(60 * best.hours + 30), sign, best.size):
        return best._replace(share=0.3 * best.share)
    return best


def _is_step(cells: Sequence[float], sign: float, size: float) -> bool:
    width = max(1, len(cells) // _BINS)
    levels = []
    for start in range(0, len(cells) - width + 1, width):
        known = sorted(value for value in cells[start : start + width] if value == value)
        if known:
            levels.append(known[len(known) // 2])
    return any(
        sign * (after - before) > _STEP_SHARE * size
        for before, after in zip(levels, levels[2:], strict=False)
    )


# -- reservoir and pump ----------------------------------------------------------------------------

# A rise by more than this within an hour is a refill, and what falls by more at once was taken out by hand or
# lost: no pump gives so much within minutes. In the unit of the reservoir, L.
_REFILLED = 1.0
_LOST_AT_ONCE = 3.0


def _hour_ends(cells: list[float]) -> list[float]:
    """Where the level stood at the end of each hour: the median of its last quarter."""
    ends = []
    for end in range(len(cells) % HOUR_CELLS + HOUR_CELLS, len(cells) + 1, HOUR_CELLS):
        known = sorted(value for value in cells[end - 3 : end] if value == value)
        ends.append(known[len(known) // 2] if known else NAN)
    return ends


def _given_of_hours(cells: list[float]) -> list[float]:
    """What a reservoir gave in each whole hour but the first; NaN where it is not known."""
    ends = _hour_ends(cells)
    first = len(cells) % HOUR_CELLS
    given = []
    for hour, (before, after) in enumerate(pairwise(ends), start=1):
        start = first + hour * HOUR_CELLS
        fell = before - after
        is_by_hand = fell < -_REFILLED or (
            fell > _LOST_AT_ONCE and _fell_at_once(cells[start - 1 : start + HOUR_CELLS])
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
_LONGEST_HOURS = 48
_MOST_RATIOS_WITH_FAN = ((2, 6.0), (4, 4.0), (8, 3.0), (24, 2.0))


def intakes(reservoir: Look, level: Look | None, *, has_fan: bool) -> tuple[Intake, ...]:
    """What the tank took in the last whole hours, of several windows; none while learning.

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
    if level is not None:
        usual = usual_sump(level)
        if usual.shows_falls:
            litres_per_cm = mean / usual.falls
            near = max(0.3, 0.5 * (usual.high - usual.low))
            levels = [
                value if usual.low - near < value < usual.high + near else NAN
                for value in level.hours.once(_hour_ends)[-_LONGEST_HOURS:]
            ]
            noise += 3.0 * litres_per_cm * level.noise_of_level
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
        if levels:
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


def _usual_pump(cells: list[float]) -> PumpUsual:
    past = [value for value in cells[:-_RECENT_CELLS] if value == value]
    if len(past) < _LEAST_SPAN_CELLS:
        return PumpUsual(NAN, 0, 0)
    runs_at = max(past)
    if not runs_at > 0.0:
        return PumpUsual(NAN, 0, 0)
    longest = [0, 0]
    length, ran = 0, False
    for value in past:
        runs = value > 0.3 * runs_at
        length = length + 1 if runs is ran else 1
        ran = runs
        longest[ran] = max(longest[ran], length)
    return PumpUsual(runs_at, longest[True], longest[False])


def usual_pump(power: Look) -> PumpUsual:
    """How a pump usually runs, as of the last whole hour."""
    return power.hours.once(_usual_pump)


def run_minutes(power: Look, usual: PumpUsual) -> int:
    """For how long the pump has run without a rest."""
    return minutes_beyond(power, 0.3 * usual.runs_at, is_high=True) if usual.longest_run else 0


def rest_minutes(power: Look, usual: PumpUsual) -> int:
    """For how long the pump has rested."""
    return minutes_beyond(power, 0.3 * usual.runs_at, is_high=False) if usual.longest_run else 0
