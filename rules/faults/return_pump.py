"""Whether the return pump stands, from its power or from the sump's level: for how long, and how is it seen?

While it stands, the water between overflow and rim has drained back into the sump: that rises by centimetres
within minutes and stays there. Heater and cooler act on the sump alone, and a probe may hang in the other
part.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

from rules.events import Reason, Sign
from rules.look import Look, TankLook
from rules.trace import HOUR_CELLS, LOOK_BACK_CELLS, MINUTE_US, STEP_US

_LOOK_BACK_MINUTES = LOOK_BACK_CELLS * STEP_US // MINUTE_US
_RECENT_CELLS = 3 * HOUR_CELLS
_FEWEST_VALUES = 40
# Feeding pauses and water changes take less of three days than this.
_PAUSED_SHARE = 0.05
# The water between overflow and rim is down within minutes.
_DRAIN_CELLS = 4
_STANDING_SHARE = 0.1
# Over a longer hole nothing is known to have stood.
_LONGEST_HOLE_CELLS = 3
LEAST_RISE_CM = 0.8
_LEAST_ABOVE_CM = 0.25
# A level that was held for an hour on two of the last days is usual: somebody fills up by hand.
_USUAL_CELLS = HOUR_CELLS
_USUAL_TIMES = 2


class Standing(NamedTuple):
    """That the pump stands: for how long, how that is seen, and in which series."""

    for_us: int
    reasons: tuple[Reason, ...]
    concerns: tuple[str, ...]


def pump_power(tank: TankLook) -> Look | None:
    """The power of the return pump, where it is known what it takes when it runs."""
    power = tank.known("return_pump_power")
    return power if power is not None and power.habits.day_high > 0.0 else None


def stands_by_power(power: Look) -> Standing | None:
    """Whether the pump takes nothing, and since when."""
    limit = _STANDING_SHARE * power.habits.day_high
    if not power.value < limit:
        return None
    cells = power.cells(_LOOK_BACK_MINUTES)
    count = len(cells) - _start_of(cells, limit, power, is_above=False)
    since_us = power.end_us - count * STEP_US
    reason = Reason(Sign.POWER, power.name, power.value, since_us=since_us)
    return Standing(count * STEP_US, (reason,), (power.name,))


def stands_by_level(level: Look, least_rise: float = LEAST_RISE_CM) -> Standing | None:
    """Whether the sump has risen at once and stays there, and since when."""
    noise = level.noise_of_level
    least = max(least_rise, 6.0 * noise)
    if not level.value > level.habits.day_low + least:
        return None
    cells = level.cells(_LOOK_BACK_MINUTES)
    ordered = sorted(value for value in cells[:-_RECENT_CELLS] if value == value)
    if len(ordered) < _FEWEST_VALUES:
        return None
    top = ordered[round((1.0 - _PAUSED_SHARE) * (len(ordered) - 1))]
    edge = max(_LEAST_ABOVE_CM, 3.0 * noise)
    if level.value < top + edge:
        return None
    start = _start_of(cells, top + edge / 2, level, is_above=True)
    plateau = [value for value in cells[start:] if value == value]
    before = sorted(
        value for value in cells[max(0, start - HOUR_CELLS) : max(0, start - 1)] if value == value
    )
    # The cell in which the water came down is neither old nor new.
    settled = sorted(plateau[_DRAIN_CELLS // 2 :] or plateau)
    if not before or not settled:
        return None
    rise = settled[len(settled) // 2] - before[len(before) // 2]
    if rise < least or settled[-1] - settled[0] > max(0.4 * rise, 8.0 * noise):
        return None
    if _times_held(cells[:start], level.value - edge) >= _USUAL_TIMES:
        return None
    for_us = (len(cells) - start) * STEP_US
    reasons = (
        Reason(Sign.LEVEL, level.name, level.value, None, top, level.end_us - for_us),
        Reason(Sign.CHANGE, level.name, rise, window_us=_DRAIN_CELLS * STEP_US),
    )
    return Standing(for_us, reasons, (level.name,))


def return_stands(tank: TankLook) -> Reason | None:
    """What speaks against a fault that needs the water to go round; None where it does."""
    power = pump_power(tank)
    if power is not None:
        standing = stands_by_power(power)
    else:
        level = tank.known("sump_level")
        standing = None if level is None else stands_by_level(level)
    return None if standing is None else replace(standing.reasons[0], speaks_against=True)


def _start_of(cells: Sequence[float], edge: float, look: Look, *, is_above: bool) -> int:
    """Place of the first cell of the stretch at the end that lies beyond an edge; a hole ends it."""
    interval = look.habits.interval_cells
    longest_hole = max(_LONGEST_HOLE_CELLS, 2 * interval) if interval == interval else _LONGEST_HOLE_CELLS
    start = len(cells)
    for place in range(len(cells) - 1, -1, -1):
        value = cells[place]
        if value != value:
            if start - place > longest_hole:
                break
            continue
        if (value >= edge) != is_above:
            break
        start = place
    return start


def _times_held(cells: Sequence[float], edge: float) -> int:
    """How often the level was held above an edge for an hour."""
    times = run = 0
    for value in cells:
        if value == value:
            run = run + 1 if value >= edge else 0
        elif run:
            run += 1
        if run == _USUAL_CELLS:
            times += 1
    return times
