"""Low, high, mean and count per quarter hour and per minute, made of the readings; and buckets for charts.

A rollup holds the finite values whose primary flag is neither FAIL nor MISSING. What is younger than
`collector.store.progress.Progress` says is not rolled up yet: who asks for buckets gets it from the
readings. The functions that write run inside the caller's transaction.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from rules import Flag, FloatArray, IntArray

# 15 min: a day is 96 slots, the grid on which baselines are fitted, and charts of a week need no finer.
SLOT_US = 15 * 60 * 1_000_000
# What stays of a reading that local retention lets go.
MINUTE_US = 60 * 1_000_000

LEFT_OUT = frozenset({int(Flag.FAIL), int(Flag.MISSING)})

# 9e999 is how SQL writes infinity.
COUNTED = "value > -9e999 AND value < 9e999 AND flag_mark & 15 NOT IN (4, 9)"
_OF_A_STRETCH = "series = ? AND observed_us >= ? AND observed_us < ?"


@dataclass(frozen=True, slots=True)
class Grid:
    """Rollups of one width.

    Parameters
    ----------
    to
        Name in `upkeep` of the instant up to which they are made.
    width_us
        Of a slot; a quarter hour is a whole number of them.
    table, key, unit_us
        Where they are kept, and in which unit the column `key` counts.
    made, read
        Columns of a slot as they are made of readings and as they are read, `low` to `count`.
    """

    to: str
    width_us: int
    table: str
    key: str
    unit_us: int
    made: str
    read: str

    def roll(self, connection: sqlite3.Connection, series: int, from_us: int, to_us: int) -> None:
        """Make a stretch of whole slots of one series anew, from all its readings."""
        connection.execute(
            f"DELETE FROM {self.table} WHERE series = ? AND {self.key} >= ? AND {self.key} < ?",  # noqa: S608
            (series, from_us // self.unit_us, to_us // self.unit_us),
        )
        connection.execute(
            f"INSERT INTO {self.table} {self._slots_of('readings')} WHERE {_OF_A_STRETCH}"
            f" AND {COUNTED} GROUP BY slot",
            (series, from_us, to_us),
        )

    def add(self, connection: sqlite3.Connection, source: str) -> None:
        """Make slots of the readings in a table; where there is one already, that of more readings stays."""
        columns = ", ".join(f"{name} = excluded.{name}" for name in ("low", "high", "total", "count"))
        connection.execute(
            f"INSERT INTO {self.table} {self._slots_of(source)} WHERE {COUNTED} GROUP BY series, slot"
            f" ON CONFLICT DO UPDATE SET {columns} WHERE excluded.count > {self.table}.count"
        )

    def _slots_of(self, source: str) -> str:
        slot = f"observed_us / {self.width_us} * {self.width_us // self.unit_us}"
        return f"SELECT series, {slot} AS slot, {self.made}, count(*) FROM {source}"  # noqa: S608

    def rows(self, connection: sqlite3.Connection, series: int, from_us: int, to_us: int) -> Rows:
        """Slots of a stretch, and readings as slots of their own where it is not rolled up yet."""
        end = f"ifnull((SELECT value FROM upkeep WHERE what = '{self.to}'), 0)"  # noqa: S608
        rows = np.fromiter(
            # One statement, so that a roll-up meanwhile is seen whole or not at all. It is not asked for an
            # order, for SQLite would sort what it reads in order already.
            connection.execute(
                f"SELECT {self.key} * {self.unit_us}, {self.read}, count FROM {self.table}"  # noqa: S608
                f" WHERE series = :series AND {self.key} >= :from / {self.unit_us}"
                f" AND {self.key} < min(:to, {end}) / {self.unit_us}"
                " UNION ALL SELECT observed_us, value, value, value, 1 FROM readings"
                f" WHERE series = :series AND observed_us >= max(:from, {end}) AND observed_us < :to"
                f" AND {COUNTED}",
                {"series": series, "from": from_us, "to": to_us},
            ),
            dtype=ROW,
        )
        return rows[np.argsort(rows["slot"], kind="stable")]


QUARTERS = Grid(
    "quarters_to_us",
    SLOT_US,
    "rollups",
    "slot_us",
    1,
    "min(value), max(value), sum(value)",
    "low, high, total",
)
MINUTES = Grid(
    "minutes_to_us",
    MINUTE_US,
    "minutes",
    "minute",
    MINUTE_US,
    # Water that stands still for a minute, or one reading in it, needs no more than `low`.
    "min(value), nullif(max(value), min(value)), CASE WHEN max(value) > min(value) THEN sum(value) END",
    "low, ifnull(high, low), CASE WHEN high IS NULL THEN low * count ELSE total END",
)
GRIDS = (QUARTERS, MINUTES)


class Buckets(NamedTuple):
    """Columns of shape (n,): start of each bucket, and low, mean, high of its values.

    The three are NaN where `counts` is 0.
    """

    starts_us: IntArray
    low: FloatArray
    mean: FloatArray
    high: FloatArray
    counts: IntArray


def is_usable(values: FloatArray, flags: npt.NDArray[np.uint8]) -> npt.NDArray[np.bool_]:
    """Which readings go into a rollup, shape (n,)."""
    return np.isfinite(values) & ~np.isin(flags, list(LEFT_OUT))


def slot_of(observed_us: int) -> int:
    """Start of the quarter hour, aligned to the epoch, in which an instant lies."""
    return observed_us - observed_us % SLOT_US


def stretches(keys: Iterable[tuple[int, int]]) -> Iterator[tuple[int, int, int]]:
    """Whole quarter hours that hold (series, observed_us), neighbours together: series, from, to."""
    slots = sorted({(series, slot_of(observed_us)) for series, observed_us in keys})
    begin = 0
    for place, (series, slot_us) in enumerate(slots):
        if place + 1 == len(slots) or slots[place + 1] != (series, slot_us + SLOT_US):
            yield series, slots[begin][1], slot_us + SLOT_US
            begin = place + 1


def buckets_of_readings(
    start_us: int,
    end_us: int,
    count: int,
    times_us: IntArray,
    values: FloatArray,
    flags: npt.NDArray[np.uint8],
) -> Buckets:
    """Divide readings of one series over `count` buckets of one width that begin at `start_us`."""
    keep = is_usable(values, flags)
    kept = values[keep]
    grid = even_grid(start_us, end_us, count)
    return buckets_of_rollups(grid, times_us[keep], kept, kept, kept, np.ones(len(kept), np.int64))


def finer_buckets(
    start_us: int,
    end_us: int,
    count: int,
    readings: tuple[IntArray, FloatArray, npt.NDArray[np.uint8]],
    minutes: Rows,
) -> Buckets:
    """As `buckets_of_readings` where all readings are still there, else of rows of minutes.

    `minutes` are those that begin in the range; each goes whole into the bucket in which it begins.
    """
    times_us, values, flags = readings
    behind_us = end_us - end_us % MINUTE_US
    there = is_usable(values, flags) & (times_us >= whole(start_us, MINUTE_US)) & (times_us < behind_us)
    if int(there.sum()) >= int(minutes["count"][minutes["slot"] < behind_us].sum()):
        return buckets_of_readings(start_us, end_us, count, times_us, values, flags)
    return buckets_of_rows(even_grid(start_us, end_us, count), minutes)


# Rows of slots, as they are held of one series.
ROW = np.dtype([("slot", "i8"), ("low", "f8"), ("high", "f8"), ("total", "f8"), ("count", "i8")])
Rows = npt.NDArray[np.void]


def quarter_hour_rows(times_us: IntArray, values: FloatArray) -> Rows:
    """Finite values of one series, in order of time, as rows of `ROW`, one a quarter hour that holds any."""
    slots = times_us - times_us % SLOT_US
    heads = np.flatnonzero(np.diff(slots, prepend=-1))
    rows = np.empty(len(heads), ROW)
    if len(heads):
        rows["slot"] = slots[heads]
        rows["low"], rows["high"] = np.minimum.reduceat(values, heads), np.maximum.reduceat(values, heads)
        rows["total"] = np.add.reduceat(values, heads)
        rows["count"] = np.diff(np.append(heads, len(values)))
    return rows


def series_buckets(rows: Rows | None, start_us: int, end_us: int, count: int) -> Buckets:
    """Divide rows of `ROW` of one series, in order of time, over at most `count` buckets of whole slots.

    A slot may have several rows, one behind the other; None is for no row at all.
    """
    grid = rollup_grid(start_us, end_us, count)
    rows = np.empty(0, ROW) if rows is None else rows
    rows = rows[np.searchsorted(rows["slot"], grid[0]) : np.searchsorted(rows["slot"], whole(end_us))]
    return buckets_of_rows(grid, rows)


def whole(end_us: int, width_us: int = SLOT_US) -> int:
    """The first boundary of slots that is no earlier."""
    return -(-end_us // width_us) * width_us


def even_grid(start_us: int, end_us: int, count: int) -> tuple[int, int, int]:
    """First start, width and number of `count` buckets of one width that cover a range."""
    return start_us, max(1, -(-(end_us - start_us) // count)), count


def rollup_grid(start_us: int, end_us: int, count: int, slot_us: int = SLOT_US) -> tuple[int, int, int]:
    """First start, width and number of buckets of whole slots, at most `count`, that cover a range."""
    first_us = start_us - start_us % slot_us
    slots = -(-(end_us - first_us) // slot_us)
    width_us = slot_us * max(1, -(-slots // count))
    return first_us, width_us, -(-(end_us - first_us) // width_us)


def buckets_of_rows(grid: tuple[int, int, int], rows: Rows) -> Buckets:
    """Divide rows of `ROW` of one series over the buckets of a grid."""
    return buckets_of_rollups(grid, *(rows[name] for name in ("slot", "low", "high", "total", "count")))


def buckets_of_rollups(
    grid: tuple[int, int, int],
    slots_us: IntArray,
    low: FloatArray,
    high: FloatArray,
    total: FloatArray,
    counts: IntArray,
) -> Buckets:
    """Divide what is in order of time over buckets: where each slot begins says into which it goes."""
    first_us, width_us, number = grid
    places = (slots_us - first_us) // width_us
    lows, means, highs = (np.full(number, np.nan) for _ in range(3))
    numbers = np.zeros(number, np.int64)
    if len(places):
        heads = np.flatnonzero(np.diff(places, prepend=places[0] - 1))
        filled = places[heads]
        numbers[filled] = np.add.reduceat(counts, heads)
        lows[filled] = np.minimum.reduceat(low, heads)
        highs[filled] = np.maximum.reduceat(high, heads)
        means[filled] = np.add.reduceat(total, heads) / numbers[filled]
    return Buckets(first_us + width_us * np.arange(number, dtype=np.int64), lows, means, highs, numbers)
