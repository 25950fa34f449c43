"""The trace of one series: its last three days in cells of five minutes. What is known of it by a step?

Theory of operation
-------------------
Cells and steps lie on one grid aligned to 1970: cell n holds the readings observed in
[n, n + 1) * `STEP_US`, and step n is taken when the engine's clock has reached its end. A reading that
arrives when its step has been taken is seen from the next step on that is still to come; a cell that
has been seen takes no more readings. So what a step sees depends on the readings and their order of
arrival alone, never on the blocks in which they come, and a board that sends ten minutes at once fills
its cells a little late instead of not at all.
"""

from __future__ import annotations

import math
from array import array
from bisect import bisect_left
from collections import deque
from operator import sub
from typing import NamedTuple

from rules.setup import HOUR_US

MINUTE_US = HOUR_US // 60
STEP_US = 5 * MINUTE_US
HOUR_CELLS = HOUR_US // STEP_US
DAY_CELLS = 24 * HOUR_CELLS
LOOK_BACK_CELLS = 3 * DAY_CELLS
LOOK_BACK_US = LOOK_BACK_CELLS * STEP_US

NAN = math.nan
# The median step between neighbours of white noise is 0.954 standard deviations: Phi^-1(0.75) * sqrt(2).
_STEP_TO_SIGMA = 1 / (0.6744897501960817 * math.sqrt(2.0))
# Fewer readings in a cell say little about its noise.
_FEWEST_FOR_NOISE = 5


class Cell(NamedTuple):
    """Five minutes of one series.

    `first_step` is the step that sees it first, `noise` the standard deviation of white noise that
    explains the steps between neighbouring readings (NaN where there are too few), `smallest_step` the
    smallest of those steps that is not zero (NaN for none), `last_us` the time of its last reading, and
    `is_flat` whether the flat line test fails that one.
    """

    first_step: int
    number: int
    median: float
    noise: float
    smallest_step: float
    last_us: int
    is_flat: bool


class Trace:
    """Collects the readings of a series and shows them to steps in order.

    Attributes
    ----------
    medians, noises, smallest_steps
        One element a cell, the newest last (NaN: no readings); none before the first. Arrays of doubles:
        a quarter of a list's memory, and numpy reads a slice of them as it is.
    step
        The step to which they reach.
    is_flat
        Whether the flat line test failed the newest cell that holds readings.
    last_cell
        Number of that cell, -1 before the first.
    last_us
        Time of its last reading.
    """

    __slots__ = (
        "_cell",
        "_cell_end_us",
        "_first_step",
        "_is_flat",
        "_last_us",
        "_values",
        "_waiting",
        "is_flat",
        "last_cell",
        "last_us",
        "medians",
        "noises",
        "smallest_steps",
        "step",
    )

    def __init__(self) -> None:
        self.medians = array("d")
        self.noises = array("d")
        self.smallest_steps = array("d")
        self.step = -1
        self.last_cell = -1
        self.last_us = 0
        self.is_flat = False
        self._cell = -1
        self._first_step = -1
        # Readings before this instant, and those that arrive before it, are of the newest cell as it stands;
        # 0 where only its step sees it, which was taken when it came.
        self._cell_end_us = 0
        self._values: list[float] = []
        self._last_us = 0
        self._is_flat = False
        self._waiting: deque[Cell] = deque()

    def collect(
        self, times_us: list[int], values: list[float], clocks_us: list[int], is_flat: list[bool] | None
    ) -> None:
        """Take readings in order, each with the engine's clock at its arrival.

        `is_flat` says which of them fail the flat line test, None for none.
        """
        if times_us[-1] < self._cell_end_us and clocks_us[-1] < self._cell_end_us:
            # Live, nearly every reading is one more of the newest cell.
            self._values += values
            self._last_us = times_us[-1]
            self._is_flat = is_flat is not None and is_flat[-1]
            return
        start, count = 0, len(times_us)
        while start < count:
            number = times_us[start] // STEP_US
            end_us = (number + 1) * STEP_US
            end = count if times_us[-1] < end_us else bisect_left(times_us, end_us, start)
            if clocks_us[end - 1] < end_us:
                if self._take(number, number, values[start:end]):
                    self._last_us = times_us[end - 1]
                    self._is_flat = is_flat is not None and is_flat[end - 1]
            else:
                for position in range(start, end):
                    first_step = max(number, clocks_us[position] // STEP_US)
                    if self._take(number, first_step, values[position : position + 1]):
                        self._last_us = times_us[position]
                        self._is_flat = is_flat is not None and is_flat[position]
            start = end

    def _take(self, number: int, first_step: int, values: list[float]) -> bool:
        """Take readings of one cell that one step sees first; return whether there is room for them."""
        if number == self._cell:
            if first_step != self._first_step:
                return False
            self._values += values
            return True
        self._close()
        self._cell, self._first_step = number, first_step
        self._cell_end_us = (number + 1) * STEP_US if first_step == number else 0
        self._values = values
        return True

    def _close(self) -> None:
        values = self._values
        if not values:
            return
        size = len(values)
        noise = smallest = NAN
        if size > 1:
            # Three passes in C: this runs over every reading.
            steps = sorted(map(abs, map(sub, values[1:], values)))
            if size >= _FEWEST_FOR_NOISE:
                noise = steps[(size - 1) // 2] * _STEP_TO_SIGMA
            if steps[-1] > 0.0:
                smallest = steps[0] or next(step for step in steps if step > 0.0)
        ordered = sorted(values)
        median = (ordered[(size - 1) // 2] + ordered[size // 2]) / 2
        self._waiting.append(
            Cell(self._first_step, self._cell, median, noise, smallest, self._last_us, self._is_flat)
        )
        self._values = []

    def next_step(self) -> int | None:
        """The first step that sees something new, None where nothing is waiting."""
        if self._waiting:
            return self._waiting[0].first_step
        return self._first_step if self._values else None

    def advance(self, step: int) -> None:
        """Show what a step sees; steps only increase."""
        if self._values and self._first_step <= step:
            self._close()
        if self.step < 0:
            if not self._waiting or self._waiting[0].first_step > step:
                return
            self.step = self._waiting[0].number - 1
        ahead = step - self.step
        if ahead == 1:
            self.medians.append(NAN)
            self.noises.append(NAN)
            self.smallest_steps.append(NAN)
        else:
            hole = array("d", (NAN,)) * min(ahead, LOOK_BACK_CELLS)
            self.medians += hole
            self.noises += hole
            self.smallest_steps += hole
        self.step = step
        waiting = self._waiting
        while waiting and waiting[0].first_step <= step:
            cell = waiting.popleft()
            place = cell.number - step - 1
            if -place <= len(self.medians):
                self.medians[place] = cell.median
                self.noises[place] = cell.noise
                self.smallest_steps[place] = cell.smallest_step
                self.last_cell, self.last_us, self.is_flat = cell.number, cell.last_us, cell.is_flat
        # Shortened once a day at most, for each time all that is kept is moved.
        if len(self.medians) >= LOOK_BACK_CELLS + DAY_CELLS:
            for column in (self.medians, self.noises, self.smallest_steps):
                del column[:-LOOK_BACK_CELLS]
