"""Limits judged over many readings at once: numpy finds the few at which anything can change.

This is the one place where the judging of limits stands twice. The delays themselves are those of the engine
(`rules.alarm.DelayedAlarm`); what is passed over here is what they would have passed over.
"""

from __future__ import annotations

import numpy as np

from rules.alarm import NEVER, Change
from rules.blocks import IntArray
from rules.kept import Water
from rules.limit_watch import LimitWatch


def jump(watch: LimitWatch, water: Water, gap_us: int) -> list[Change]:
    """Let a limit see readings of its series, as `LimitWatch.judge` does; return what changed.

    Parameters
    ----------
    watch
        The limit, and its state behind the readings before.
    water
        One reading at least.
    gap_us
        Longest time between two readings over which a condition is taken to hold.
    """
    values, delays = water.values, watch.delays
    if watch.alarm.is_high:
        is_on, is_off = values > watch.alarm.setpoint, values < watch.edge
    else:
        is_on, is_off = values < watch.alarm.setpoint, values > watch.edge
    if delays.is_idle and not is_on.any():
        delays.skip_to(int(water.times_us[-1]), int(water.clocks_us[-1]))
        return []
    places = _Places(water, is_on, is_off, gap_us, [span for one in delays.suppressed for span in one])
    changes: list[Change] = []
    place, count = 0, len(values)
    while place < count:
        found = places.next_of(place, watch)
        if found > place:
            delays.skip_to(int(water.times_us[found - 1]), int(water.clocks_us[found - 1]))
        if found == count:
            break
        changes += delays.observe(
            int(water.times_us[found]),
            int(water.sequences[found]),
            int(water.clocks_us[found]),
            bool(is_on[found]),
            bool(is_off[found]),
            by_clock=True,
        )
        place = found + 1
    return changes


class _Places:
    """Where readings are that may change something, by what is waited for."""

    def __init__(
        self, water: Water, is_on: np.ndarray, is_off: np.ndarray, gap_us: int, edges_us: list[int]
    ) -> None:
        self._water = water
        self._on, self._not_on = np.flatnonzero(is_on), np.flatnonzero(~is_on)
        self._off, self._not_off = np.flatnonzero(is_off), np.flatnonzero(~is_off)
        self._behind_gaps = np.flatnonzero(np.diff(water.times_us) > gap_us) + 1
        self._edges = np.unique(np.searchsorted(water.times_us, np.array(edges_us, np.int64)))
        self._count = len(is_on)

    def next_of(self, place: int, watch: LimitWatch) -> int:
        """The next reading from a place on that may change anything; how many there are for none."""
        delays = watch.delays
        if delays.due_us == NEVER:
            return self._from(self._off if delays.is_active else self._on, place)
        if place == 0:
            # The gap before it, and works that are known only now.
            return 0
        due_us = delays.due_us
        return min(
            self._from(self._not_off if delays.is_active else self._not_on, place),
            self._from(self._behind_gaps, place),
            self._from(self._edges, place),
            # The clock is no younger than what it waits for: the lag of a series is never below 0.
            place + int(np.searchsorted(self._water.times_us[place:], due_us)),
            place + int(np.searchsorted(self._water.clocks_us[place:], due_us)),
        )

    def _from(self, places: IntArray, place: int) -> int:
        found = int(np.searchsorted(places, place))
        return int(places[found]) if found < len(places) else self._count
