"""Has one series moved in its newest five minutes, and its companion not? For the tests of two series."""

from __future__ import annotations

import math
from collections.abc import Sequence

from rules.flags import Flag
from rules.quality.spread import CELL_US
from rules.setup import HOUR_US, CompanionLimits

# A probe that speaks every half hour is judged from one reading to the next; over longer silences a move
# says nothing.
_RECENT_CELLS = HOUR_US // CELL_US
# With fewer cells, or less than half the window, a spread is not known.
_FEWEST = 12
_FILLED = 0.5


def moved_alone(own: Sequence[float], other: Sequence[float], limits: CompanionLimits) -> Flag:
    """Judge the newest cell of `own` by how both histories moved.

    Parameters
    ----------
    own, other
        Medians of the five-minute cells of a series and its companion, one a cell, the newest last and the
        same in both; NaN for a cell without readings. No more than `window_us` and an hour are looked at.
    limits
        How far each must move to have moved.

    Returns
    -------
    Flag
        SUSPECT if `own` has moved since its cell before and `other` has not since that cell or one before
        it; NOT_EVALUATED where a cell is empty or half the window is not known; else PASS.
    """
    newest, other_newest = own[-1], other[-1]
    if newest != newest or other_newest != other_newest:
        return Flag.NOT_EVALUATED
    before = _known_from(own, 2)
    # Measured from no later than that: a companion has at least as much time to move.
    other_before = _known_from(other, before) if before else 0
    if not other_before:
        return Flag.NOT_EVALUATED
    change = abs(newest - own[-before])
    if change <= limits.least_change:
        return Flag.PASS
    cells = limits.window_us // CELL_US
    deviation = _deviation(own, cells)
    if change <= limits.deviations * deviation:
        return Flag.PASS
    other_deviation = _deviation(other, cells)
    if deviation != deviation or other_deviation != other_deviation:
        return Flag.NOT_EVALUATED
    other_change = abs(other_newest - other[-other_before])
    return Flag.PASS if other_change > limits.companion_deviations * other_deviation else Flag.SUSPECT


def _known_from(history: Sequence[float], place: int) -> int:
    """How far from the end the newest cell with readings lies, from a place on; 0 for none within an hour."""
    for back in range(place, min(place + _RECENT_CELLS, len(history) + 1)):
        if history[-back] == history[-back]:
            return back
    return 0


def _deviation(history: Sequence[float], cells: int) -> float:
    """Population standard deviation of the window before the newest cell; NaN where too little is known."""
    window = history[-cells - 1 : -1]
    known = [value for value in window if value == value]
    if len(known) < _FEWEST or len(window) < cells * _FILLED:
        return math.nan
    mean = math.fsum(known) / len(known)
    return math.sqrt(math.fsum((value - mean) ** 2 for value in known) / len(known))
