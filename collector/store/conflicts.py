"""Second values for an instant that has one: kept to be looked at, and counted where they are many.

A board that repeats other values at the same instants, by a clock that stands or a name that two boards
share, would fill the disk with them. Of each series and day the first and the last that came are kept.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from typing import TypeAlias

from rules import HOUR_US

# Enough to see what kind of mistake it is; so many again are the last ones.
KEPT = 20
_DAY_US = 24 * HOUR_US

# (series id, observed_us, value, received_us, payload), as in table conflicts.
ConflictRow: TypeAlias = tuple[int, int, float, int, bytes]


def record_conflicts(connection: sqlite3.Connection, rows: Sequence[ConflictRow]) -> int:
    """Keep conflicts in the caller's transaction; return how many are not among those that are kept already.

    One that was counted and not kept is new each time that it comes.
    """
    days: dict[tuple[int, int], int] = {}
    for row in rows:
        is_new = connection.execute(
            "INSERT INTO conflicts(series, observed_us, value, received_us, payload)"
            " VALUES(?, ?, ?, ?, ?) ON CONFLICT DO NOTHING",
            row,
        ).rowcount
        if is_new:
            key = row[0], row[1] // _DAY_US
            days[key] = days.get(key, 0) + 1
    for series, day in days:
        _thin(connection, series, day)
    return sum(days.values())


def conflict_counts(connection: sqlite3.Connection) -> tuple[int, int]:
    """How many are kept, and how many more were only counted."""
    (kept,) = connection.execute("SELECT count(*) FROM conflicts").fetchone()
    (more,) = connection.execute("SELECT ifnull(sum(count), 0) FROM conflicts_not_kept").fetchone()
    return kept, more


def _thin(connection: sqlite3.Connection, series: int, day: int) -> None:
    # Not by id: the key finds a day's few among those of years.
    rows = connection.execute(
        "SELECT id FROM conflicts WHERE series = ? AND observed_us >= ? AND observed_us < ?",
        (series, day * _DAY_US, (day + 1) * _DAY_US),
    )
    surplus = sorted(rows)[KEPT:-KEPT]
    if surplus:
        connection.executemany("DELETE FROM conflicts WHERE id = ?", surplus)
        connection.execute(
            "INSERT INTO conflicts_not_kept VALUES(?, ?, ?)"
            " ON CONFLICT DO UPDATE SET count = count + excluded.count",
            (series, day, len(surplus)),
        )
