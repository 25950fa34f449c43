"""How far the time-series database has come, and what it refused, for who looks after it."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from typing import NamedTuple

from collector.store.mirroring import cursors_of, unmirrored_from_us


class RefusedPoints(NamedTuple):
    """Points of one series that the database refused for one reason: how many, from when to when."""

    tank: str
    series: str
    points: int
    first_us: int
    last_us: int
    reason: str


@dataclass(frozen=True, slots=True)
class MirrorState:
    """How far the database has come; counts are of readings.

    `oldest_us` is the first instant of which it lacks something, None if it has all. Of those that it refused
    `refused` are kept to be sent anew, and `not_kept` are not. `failing_since_us` and `reason` are None while
    it takes what it is sent.
    """

    target: str
    waiting: int
    oldest_us: int | None
    refused: int
    not_kept: int
    failing_since_us: int | None
    reason: str | None


def mirror_state(connection: sqlite3.Connection) -> MirrorState | None:
    """How far the database has come; None if none has ever been configured."""
    row = connection.execute("SELECT target, failing_since_us, reason FROM mirror").fetchone()
    if row is None:
        return None
    waiting = int(connection.execute("SELECT count(*) FROM mirror_again").fetchone()[0])
    oldest_us: list[int] = []
    for series, sent_us in cursors_of(connection).items():
        (count,) = connection.execute(
            "SELECT count(*) FROM readings WHERE series = ? AND observed_us > ?", (series, sent_us)
        ).fetchone()
        waiting += int(count)
        first_us = unmirrored_from_us(connection, series)
        if first_us is not None:
            oldest_us.append(first_us)
    (refused,) = connection.execute("SELECT count(*) FROM mirror_refused").fetchone()
    (not_kept,) = connection.execute("SELECT ifnull(sum(not_kept), 0) FROM mirror_reasons").fetchone()
    return MirrorState(row[0], waiting, min(oldest_us, default=None), refused, not_kept, row[1], row[2])


def refused_points(connection: sqlite3.Connection) -> tuple[RefusedPoints, ...]:
    """What the database refused, by series and reason, the most first."""
    rows = connection.execute(
        "SELECT tank, name, count(*), min(observed_us), max(observed_us), text FROM mirror_refused"
        " JOIN mirror_reasons ON mirror_reasons.id = reason JOIN series ON series.id = mirror_refused.series"
        " GROUP BY mirror_refused.series, reason ORDER BY count(*) DESC"
    )
    return tuple(RefusedPoints(*row) for row in rows)
