"""How much a series has moved lately: the standard deviation of its readings over a trailing window."""

from __future__ import annotations

import math
from collections import deque
from operator import mul
from typing import NamedTuple

from rules.setup import HOUR_US

CELL_US = HOUR_US // 12
# Fewer readings, or a record of less than half the window, say little about how a tank moves in a day.
FEWEST = 30
_FILLED = 0.5
# Sums of whole cells are kept in units of 2^-32: integers are added and taken away without rounding, so
# the spread depends on the readings in the window alone and not on all that came before.
_SCALE = 2.0**32


class _Cell(NamedTuple):
    number: int
    readings: int
    total: int
    squares: int


class Spread:
    """The standard deviation over the five-minute cells of a window that ends with the last whole cell.

    Attributes
    ----------
    readings
        Of the cell that is being filled: put them in.
    end_us
        End of that cell; call `close` before a reading behind it.
    deviation
        Population standard deviation of the readings in the window; NaN while it is not filled enough.
    """

    __slots__ = (
        "_cells",
        "_count",
        "_squares",
        "_total",
        "_window",
        "deviation",
        "end_us",
        "readings",
    )

    def __init__(self, window_us: int) -> None:
        self._window = window_us // CELL_US
        self._cells: deque[_Cell] = deque()
        self._count = self._total = self._squares = 0
        self.readings: list[float] = []
        self.end_us = 0
        self.deviation = math.nan

    def __len__(self) -> int:
        return len(self._cells)

    def close(self, time_us: int) -> None:
        """End the cell, for a reading at `time_us` belongs to a later one, and take the deviation anew."""
        cells, own = self._cells, self.readings
        if own:
            cell = _Cell(
                self.end_us // CELL_US - 1,
                len(own),
                int(sum(own) * _SCALE),
                int(sum(map(mul, own, own)) * _SCALE),
            )
            cells.append(cell)
            self._count += cell.readings
            self._total += cell.total
            self._squares += cell.squares
            self.readings = []
        number = time_us // CELL_US
        self.end_us = (number + 1) * CELL_US
        oldest = number - self._window
        while cells and cells[0].number < oldest:
            cell = cells.popleft()
            self._count -= cell.readings
            self._total -= cell.total
            self._squares -= cell.squares
        count = self._count
        if count < FEWEST or number - cells[0].number < self._window * _FILLED:
            self.deviation = math.nan
            return
        square = count * self._squares / _SCALE - (self._total / _SCALE) ** 2
        self.deviation = math.sqrt(max(0.0, square)) / count
