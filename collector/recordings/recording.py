"""A recording: readings of any number of series in the order of their times, and what was left out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from rules import HOUR_US, Block, FloatArray, IntArray

DAY_US = 24 * HOUR_US


@dataclass(frozen=True, slots=True)
class Skipped:
    """Something in a file that was not read: where, why, and how often."""

    where: str
    reason: str
    count: int = 1


@dataclass(frozen=True, slots=True)
class Recording:
    """Readings sorted by time.

    `times_us`, `values` and `series` have shape (n,): microseconds since 1970 UTC, canonical units,
    and indices of `Configuration.series`. `skipped` says what the file holds besides.
    """

    times_us: IntArray
    values: FloatArray
    series: IntArray
    skipped: tuple[Skipped, ...] = ()

    def __len__(self) -> int:
        return len(self.times_us)

    def blocks(self) -> Iterator[Block]:
        """The readings in blocks of a day at most."""
        start = 0
        while start < len(self):
            end = int(np.searchsorted(self.times_us, self.times_us[start] + DAY_US, side="left"))
            part = slice(start, end)
            yield Block(self.times_us[part], self.values[part], self.series[part])
            start = end


def join(recordings: list[Recording]) -> Recording:
    """Merge recordings by time; readings of the same instant keep the order of the files."""
    times = np.concatenate([recording.times_us for recording in recordings])
    order = np.argsort(times, kind="stable")
    return Recording(
        times[order],
        np.concatenate([recording.values for recording in recordings])[order],
        np.concatenate([recording.series for recording in recordings])[order],
        tuple(skipped for recording in recordings for skipped in recording.skipped),
    )
