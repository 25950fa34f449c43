"""Where the words of a chart stand: beside what is drawn, never on it, on a phone as on a desk.

Widths are those of a phone, where words take the most of a chart; places are in per cent of the plot.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rules import FloatArray

# A letter of a label on a plot 300 pixels wide, a line of it on one 170 pixels high.
_LETTER, _LINE = 2.2, 8.0
_GAP = 1.0
# How much worse it is to stand on what was measured, or on other words, than on a line of the plot.
_ON_VALUES, _ON_LINE = 100.0, 10.0


@dataclass(frozen=True, slots=True)
class Place:
    """Where words begin, end or have their middle (`anchor`), and whether they stand above their line."""

    x: float
    anchor: str
    is_above: bool


@dataclass(frozen=True, slots=True)
class _Box:
    left: float
    right: float
    top: float
    bottom: float

    def meets(self, other: _Box) -> bool:
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )


def place_words(
    lines: Sequence[tuple[float, str]],
    values: Sequence[tuple[FloatArray, FloatArray, FloatArray]],
    verticals: Sequence[float],
) -> list[Place | None]:
    """Find a place for the words of each horizontal line; None where all places are on what was measured.

    Parameters
    ----------
    lines
        Height of each line, in per cent from the top, and its words.
    values
        What was measured: x, highest and lowest place, each of shape (n,), in per cent.
    verticals
        Where vertical lines are.
    """
    taken: list[_Box] = []
    found: list[Place | None] = []
    for at, text in lines:
        others = [other for other, _ in lines if other != at]
        best: tuple[float, Place, _Box] | None = None
        for place in _candidates():
            box = _box(place, at, text)
            cost = _cost(box, others, values, verticals, taken)
            if best is None or cost < best[0]:
                best = (cost, place, box)
        if best is None or best[0] >= _ON_VALUES:
            found.append(None)
        else:
            taken.append(best[2])
            found.append(best[1])
    return found


def rows_of_words(moments: Sequence[tuple[float, str, str]]) -> list[int]:
    """Give words over a plot a row each, so that none stands on another: place, anchor and text of each."""
    ends: list[float] = []
    rows = [0] * len(moments)
    boxes = [
        (*_across(at, anchor, len(text) * _LETTER), place) for place, (at, anchor, text) in enumerate(moments)
    ]
    for left, right, place in sorted(boxes):
        row = next((row for row, end in enumerate(ends) if end < left), len(ends))
        if row == len(ends):
            ends.append(0.0)
        ends[row] = right + _GAP
        rows[place] = row
    return rows


def _candidates() -> list[Place]:
    return [
        Place(x, anchor, is_above)
        for x, anchor in ((99.5, "end"), (0.5, "start"), (50.0, "middle"))
        for is_above in (True, False)
    ]


def _across(x: float, anchor: str, width: float) -> tuple[float, float]:
    left = {"start": x, "middle": x - width / 2, "end": x - width}[anchor]
    return left, left + width


def _box(place: Place, at: float, text: str) -> _Box:
    left, right = _across(place.x, place.anchor, len(text) * _LETTER)
    top = at - _LINE - _GAP if place.is_above else at + _GAP
    return _Box(left - _GAP, right + _GAP, top, top + _LINE)


def _cost(
    box: _Box,
    others: Sequence[float],
    values: Sequence[tuple[FloatArray, FloatArray, FloatArray]],
    verticals: Sequence[float],
    taken: Sequence[_Box],
) -> float:
    cost = 0.0
    if box.top < -_GAP or box.bottom > 100.0 + _GAP:
        cost += _ON_VALUES
    for x, top, bottom in values:
        # One point more on both sides: the line between two points may cross the words.
        first = max(int(np.searchsorted(x, box.left)) - 1, 0)
        last = int(np.searchsorted(x, box.right)) + 1
        if bool(np.any((top[first:last] <= box.bottom) & (bottom[first:last] >= box.top))):
            cost += _ON_VALUES
        else:
            ups = top[first:last]
            downs = bottom[first:last]
            # It goes from above the words to below them.
            if len(ups) and bool(np.any(downs < box.top)) and bool(np.any(ups > box.bottom)):
                cost += _ON_VALUES
    cost += _ON_VALUES * sum(box.meets(one) for one in taken)
    cost += _ON_LINE * sum(box.top < one < box.bottom for one in others)
    cost += _ON_LINE * sum(box.left < one < box.right for one in verticals)
    return cost
