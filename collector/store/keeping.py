"""Which single readings stay in the store when those of their time are let go: those near an incident."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator

from rules import HOUR_US

# Kept on both sides of an incident: as much as its page draws at most, and what led to it.
NEAR_US = 24 * HOUR_US


def near_incidents(
    connection: sqlite3.Connection, tank: str, from_us: int, to_us: int
) -> list[tuple[int, int]]:
    """When a tank had an incident, with what is near, as far as it touches a stretch."""
    return connection.execute(
        "SELECT first_evidence_us - :near, ifnull(ended_at_us, :to) + :near FROM incidents"
        " WHERE tank = :tank AND first_evidence_us - :near < :to"
        " AND ifnull(ended_at_us, :to) + :near > :from",
        {"tank": tank, "from": from_us, "to": to_us, "near": NEAR_US},
    ).fetchall()


def between(taken: Iterable[tuple[int, int]], from_us: int, to_us: int) -> Iterator[tuple[int, int]]:
    """What of a stretch no interval covers; nothing of an empty one."""
    for begin_us, end_us in sorted(taken):
        if from_us >= to_us:
            return
        if begin_us > from_us:
            yield from_us, min(begin_us, to_us)
        from_us = max(from_us, end_us)
    if from_us < to_us:
        yield from_us, to_us
