"""Low, high, mean and count per quarter hour, kept in step with the readings; and buckets for charts.

A rollup holds the finite values whose primary flag is neither FAIL nor MISSING. The functions that
write run inside the caller's transaction.
"""

from __future__ import annotations

import sqlite3
from collections import defaultdict
from collections.abc import Iterable
from math import inf
from typing import NamedTuple, TypeAlias

import numpy as np
import numpy.typing as npt

from rules import Flag, FloatArray, IntArray

# 15 min: a day is 96 slots, the grid on which baselines are fitted, and charts of a week need no finer.
SLOT_US = 15 * 60 * 1_000_000

LEFT_OUT = frozenset({int(Flag.FAIL), int(Flag.MISSING)})

# (series id, observed_us, value, flag + 16 * mark, delay_ms, commit number), as in table readings.
StoredRow: TypeAlias = tuple[int, int, float, int, int, int]
Slot: TypeAlias = tuple[int, int]

_MERGE = (
    "INSERT INTO rollups VALUES(?, ?, ?, ?, ?, ?) ON CONFLICT DO UPDATE SET low = min(low, excluded.low),"
    " high = max(high, excluded.high), total = total + excluded.total, count = count + excluded.count"
)
# 9e999 is how SQL writes infinity.
_COUNTED = "value > -9e999 AND value < 9e999 AND flag_mark & 15 NOT IN (4, 9)"


class Buckets(NamedTuple):
    """Columns of shape (n,): start of each bucket, and low, mean, high of its values.

    The three are NaN where `counts` is 0.
    """

    starts_us: IntArray
    low: FloatArray
    mean: FloatArray
    high: FloatArray
    counts: IntArray


def slot_of(observed_us: int) -> int:
    """Start of the quarter hour, aligned to the epoch, in which an instant lies."""
    return observed_us - observed_us % SLOT_US


def merge(connection: sqlite3.Connection, rows: Iterable[StoredRow]) -> None:
    """Add rows to their slots; every one of them must be new in table readings."""
    slots: defaultdict[Slot, list[float]] = defaultdict(list)
    for series, observed_us, value, flag_mark, _, _ in rows:
        if -inf < value < inf and flag_mark & 15 not in LEFT_OUT:
            slots[series, observed_us - observed_us % SLOT_US].append(value)
    connection.executemany(
        _MERGE, [(*slot, min(held), max(held), sum(held), len(held)) for slot, held in slots.items()]
    )


def recompute(connection: sqlite3.Connection, slots: Iterable[Slot]) -> None:
    """Make slots anew from the readings: where some rows were there before, or a flag was revised."""
    for series, slot_us in slots:
        low, high, total, count = connection.execute(
            "SELECT min(value), max(value), sum(value), count(*) FROM readings"  # noqa: S608 (a constant)
            f" WHERE series = ? AND observed_us >= ? AND observed_us < ? AND {_COUNTED}",
            (series, slot_us, slot_us + SLOT_US),
        ).fetchone()
        if count:
            connection.execute(
                "INSERT OR REPLACE INTO rollups VALUES(?, ?, ?, ?, ?, ?)",
                (series, slot_us, low, high, total, count),
            )
        else:
            connection.execute("DELETE FROM rollups WHERE series = ? AND slot_us = ?", (series, slot_us))


def buckets_of_readings(
    start_us: int,
    end_us: int,
    count: int,
    times_us: IntArray,
    values: FloatArray,
    flags: npt.NDArray[np.uint8],
) -> Buckets:
    """Divide readings of one series over `count` buckets of one width that begin at `start_us`."""
    width_us = max(1, -(-(end_us - start_us) // count))
    keep = np.isfinite(values) & ~np.isin(flags, list(LEFT_OUT))
    kept = values[keep]
    return _reduce(
        start_us + width_us * np.arange(count, dtype=np.int64),
        (times_us[keep] - start_us) // width_us,
        kept,
        kept,
        kept,
        np.ones(len(kept), np.int64),
    )


# Rows of quarter hours, as the table of rollups holds them of one series.
ROW = np.dtype([("slot", "i8"), ("low", "f8"), ("high", "f8"), ("total", "f8"), ("count", "i8")])


def quarter_hour_rows(times_us: IntArray, values: FloatArray) -> npt.NDArray[np.void]:
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


def series_buckets(rows: npt.NDArray[np.void] | None, start_us: int, end_us: int, count: int) -> Buckets:
    """Divide rows of `ROW` of one series, in order of time, over at most `count` buckets of whole slots.

    A slot may have several rows, one behind the other; None is for no row at all.
    """
    grid = rollup_grid(start_us, end_us, count)
    rows = np.empty(0, ROW) if rows is None else rows
    rows = rows[np.searchsorted(rows["slot"], grid[0]) : np.searchsorted(rows["slot"], end_us)]
    return buckets_of_rollups(grid, rows["slot"], rows["low"], rows["high"], rows["total"], rows["count"])


def rollup_grid(start_us: int, end_us: int, count: int) -> tuple[int, int, int]:
    """First start, width and number of buckets of whole slots, at most `count`, that cover a range."""
    first_us = slot_of(start_us)
    slots = -(-(end_us - first_us) // SLOT_US)
    width_us = SLOT_US * max(1, -(-slots // count))
    return first_us, width_us, -(-(end_us - first_us) // width_us)


def buckets_of_rollups(
    grid: tuple[int, int, int],
    slots_us: IntArray,
    low: FloatArray,
    high: FloatArray,
    total: FloatArray,
    counts: IntArray,
) -> Buckets:
    """Divide rollups of one series over the buckets of a `rollup_grid`."""
    first_us, width_us, number = grid
    starts_us = first_us + width_us * np.arange(number, dtype=np.int64)
    return _reduce(starts_us, (slots_us - first_us) // width_us, low, total, high, counts)


def _reduce(
    starts_us: IntArray,
    places: IntArray,
    low: FloatArray,
    total: FloatArray,
    high: FloatArray,
    counts: IntArray,
) -> Buckets:
    """Reduce rows, which come in the order of their places, to one per bucket."""
    shape = len(starts_us)
    lows, means, highs = (np.full(shape, np.nan) for _ in range(3))
    numbers = np.zeros(shape, np.int64)
    if len(places):
        heads = np.flatnonzero(np.diff(places, prepend=places[0] - 1))
        filled = places[heads]
        numbers[filled] = np.add.reduceat(counts, heads)
        lows[filled] = np.minimum.reduceat(low, heads)
        highs[filled] = np.maximum.reduceat(high, heads)
        means[filled] = np.add.reduceat(total, heads) / numbers[filled]
    return Buckets(starts_us, lows, means, highs, numbers)
