"""Attenuated signal test: has a series moved too little for too long, though it is not flat?

A fouled or drying probe, or one in still water, goes on moving, but less than the tank does.
"""

from __future__ import annotations

import math
from collections import deque

from rules.flags import Flag
from rules.quality.packed import SHIFT
from rules.setup import AttenuatedSignalLimits
from rules.survey import Stretch

_SUSPECT = int(Flag.SUSPECT) << SHIFT["attenuated_signal"]
_FAIL = int(Flag.FAIL) << SHIFT["attenuated_signal"]
NOT_EVALUATED = int(Flag.NOT_EVALUATED) << SHIFT["attenuated_signal"]
_LONG_AGO_US = -(2**62)
# Values are summed in units of 2^-32: integers are added and taken away without rounding, for years.
_SCALE = 2.0**32
Span = tuple[float, float]
ANYTHING: Span = (-math.inf, math.inf)


class AttenuatedRange:
    """QARTOD test 10 by the range: largest less smallest value of (now - window, now].

    Movement of just `suspect_below` passes. NOT_EVALUATED while the window holds fewer readings than
    `fewest`, or where too little movement was seen but the record, or the stretch since a gap longer than
    `gap_us`, is shorter than the window.

    As long as one pair of readings that lie far enough apart is in the window there is nothing to find out,
    so readings are only put aside (70 bytes each); nearly always that is so. Else the window is kept as two
    lists of the values that can still become the largest or the smallest.

    Parameters
    ----------
    limits
        Window and limits.
    gap_us
        Longest time between two readings.
    plausible
        What the sensor can show; other readings are NOT_EVALUATED and no movement of the water.
    """

    __slots__ = (
        "_counted",
        "_gap_us",
        "_high",
        "_highs",
        "_limits",
        "_low",
        "_lows",
        "_new_times",
        "_new_values",
        "_recent",
        "_stretch_us",
        "_sure_until_us",
    )

    def __init__(self, limits: AttenuatedSignalLimits, gap_us: int, plausible: Span = ANYTHING) -> None:
        self._limits = limits
        self._gap_us = gap_us
        self._low, self._high = plausible
        self._highs: deque[tuple[int, float]] = deque()
        self._lows: deque[tuple[int, float]] = deque()
        self._new_times: list[int] = []
        self._new_values: list[float] = []
        # Instants of the last readings, as many as are needed.
        self._recent = deque([_LONG_AGO_US] * limits.fewest, limits.fewest)
        # How many of the new readings these know.
        self._counted = 0
        self._stretch_us = self._sure_until_us = _LONG_AGO_US

    def __len__(self) -> int:
        return len(self._highs) + len(self._lows) + len(self._new_times)

    def judge(self, time_us: int, value: float, elapsed_us: int) -> int:
        """Return this test's bits for a reading that comes `elapsed_us` behind the one before it."""
        if not self._low <= value <= self._high:
            return NOT_EVALUATED
        self._new_times.append(time_us)
        self._new_values.append(value)
        if time_us < self._sure_until_us and elapsed_us <= self._gap_us:
            return 0
        if elapsed_us > self._gap_us or self._stretch_us == _LONG_AGO_US:
            self._stretch_us = time_us
        return self._find_out(time_us)

    def passes(self, times_us: list[int], values: list[float], stretch: Stretch) -> bool:
        """Take a stretch at once if all of it passes; else leave it as it was."""
        if not (self._low <= stretch.low and stretch.high <= self._high):
            return False
        if times_us[stretch.end - 1] >= self._sure_until_us or stretch.longest_us > self._gap_us:
            return False
        self._new_times += times_us[stretch.start : stretch.end]
        self._new_values += values[stretch.start : stretch.end]
        return True

    def _find_out(self, time_us: int) -> int:
        limits, times = self._limits, self._new_times
        self._recent.extend(times[max(self._counted, len(times) - limits.fewest) :])
        self._counted = len(times)
        oldest_us = time_us - limits.window_us
        place = self._place_of_pair(oldest_us)
        if place >= 0:
            # When this pair has left the window, so has everything before it.
            self._sure_until_us = min(self._recent[0], times[place]) + limits.window_us
            self._highs.clear()
            self._lows.clear()
            del times[:place], self._new_values[:place]
            self._counted = len(times)
            return NOT_EVALUATED if self._recent[0] <= oldest_us else 0
        self._sort_in()
        highs, lows = self._highs, self._lows
        while highs[0][0] <= oldest_us:
            highs.popleft()
        while lows[0][0] <= oldest_us:
            lows.popleft()
        if self._recent[0] <= oldest_us:
            return NOT_EVALUATED
        movement = highs[0][1] - lows[0][1]
        if movement >= limits.suspect_below:
            self._sure_until_us = min(self._recent[0], self._latest_pair_us()) + limits.window_us
            return 0
        return _verdict(limits, movement, time_us - self._stretch_us)

    def _place_of_pair(self, oldest_us: int) -> int:
        """Where the latest two new values begin that lie far enough apart, -1 where there are none."""
        times, values, enough = self._new_times, self._new_values, self._limits.suspect_below
        high = low = values[-1]
        for place in range(len(values) - 2, -1, -1):
            value = values[place]
            if value > high:
                high = value
            elif value < low:
                low = value
            else:
                continue
            if high - low >= enough:
                return place if times[place] > oldest_us else -1
        return -1

    def _sort_in(self) -> None:
        """Move what was put aside to where it can be found: of each side, what no later value beats."""
        highs: list[tuple[int, float]] = []
        lows: list[tuple[int, float]] = []
        high, low = -math.inf, math.inf
        times, values = self._new_times, self._new_values
        for position in range(len(values) - 1, -1, -1):
            value = values[position]
            if value > high:
                high = value
                highs.append((times[position], value))
            if value < low:
                low = value
                lows.append((times[position], value))
        while self._highs and self._highs[-1][1] <= high:
            self._highs.pop()
        while self._lows and self._lows[-1][1] >= low:
            self._lows.pop()
        self._highs.extend(reversed(highs))
        self._lows.extend(reversed(lows))
        del times[:], values[:]
        self._counted = 0

    def _latest_pair_us(self) -> int:
        """The older instant of the latest two values that lie far enough apart."""
        highs, lows = iter(self._highs), iter(self._lows)
        high_us, high = next(highs)
        low_us, low = next(lows)
        while True:
            found_us = min(high_us, low_us)
            # The newest value is the end of both lists, so the older side always has a next one.
            if high_us < low_us:
                high_us, high = next(highs)
            else:
                low_us, low = next(lows)
            if high - low < self._limits.suspect_below:
                return found_us


class AttenuatedDeviation:
    """QARTOD test 10 by the population standard deviation of the values of (now - window, now].

    As `AttenuatedRange`, but dearer: every reading of the window is kept.
    """

    __slots__ = (
        "_gap_us",
        "_high",
        "_limits",
        "_low",
        "_squares",
        "_stretch_us",
        "_times",
        "_total",
        "_values",
    )

    def __init__(self, limits: AttenuatedSignalLimits, gap_us: int, plausible: Span = ANYTHING) -> None:
        self._limits = limits
        self._gap_us = gap_us
        self._low, self._high = plausible
        self._times: deque[int] = deque()
        self._values: deque[int] = deque()
        self._total = self._squares = 0
        self._stretch_us = _LONG_AGO_US

    def __len__(self) -> int:
        return len(self._times)

    def judge(self, time_us: int, value: float, elapsed_us: int) -> int:
        """Return this test's bits for a reading that comes `elapsed_us` behind the one before it."""
        if not self._low <= value <= self._high:
            return NOT_EVALUATED
        if elapsed_us > self._gap_us or self._stretch_us == _LONG_AGO_US:
            self._stretch_us = time_us
        limits, times, values = self._limits, self._times, self._values
        scaled = int(value * _SCALE)
        times.append(time_us)
        values.append(scaled)
        self._total += scaled
        self._squares += scaled * scaled
        oldest_us = time_us - limits.window_us
        while times[0] <= oldest_us:
            times.popleft()
            gone = values.popleft()
            self._total -= gone
            self._squares -= gone * gone
        count = len(times)
        if count < limits.fewest:
            return NOT_EVALUATED
        movement = math.sqrt(count * self._squares - self._total * self._total) / (count * _SCALE)
        if movement >= limits.suspect_below:
            return 0
        return _verdict(limits, movement, time_us - self._stretch_us)

    def passes(self, times_us: list[int], values: list[float], stretch: Stretch) -> bool:  # noqa: ARG002 - one shape
        """Leave every stretch as it was: each reading moves the sums."""
        return False


def _verdict(limits: AttenuatedSignalLimits, movement: float, known_us: int) -> int:
    """Bits for too little movement, where the record has been known for so long."""
    if known_us < limits.window_us:
        return NOT_EVALUATED
    return _FAIL if limits.fail_below is not None and movement < limits.fail_below else _SUSPECT


def attenuated_signal(
    limits: AttenuatedSignalLimits, gap_us: int, plausible: Span = ANYTHING
) -> AttenuatedRange | AttenuatedDeviation:
    """Make the test by the method of its limits."""
    if limits.method == "range":
        return AttenuatedRange(limits, gap_us, plausible)
    return AttenuatedDeviation(limits, gap_us, plausible)
