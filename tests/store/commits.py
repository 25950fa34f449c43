"""Series, rows and laws that the store's tests share."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from contextlib import closing
from math import isclose, isfinite
from pathlib import Path

from collector.configuration import SeriesConfiguration
from collector.readings import Mark
from collector.store import SLOT_US, Commit, Row, Store, Upkeep
from rules import Flag

START_US = 1_764_000_000_000_000
SECOND = 1_000_000
SERIES = (
    SeriesConfiguration("reef", "temperature", "temperature"),
    SeriesConfiguration("reef", "ph", "ph"),
    SeriesConfiguration("nursery", "temperature", "temperature"),
)


def row(
    series: int,
    seconds: float,
    value: float,
    *,
    flag: Flag = Flag.PASS,
    mark: Mark = Mark.NONE,
    delay_ms: int = 50,
    tests: int = 0,
    payload: bytes = b"",
) -> Row:
    """A row of `series`, observed so many seconds after the start."""
    observed_us = START_US + round(seconds * SECOND)
    return (series, observed_us, value, int(flag), int(mark), delay_ms, tests, payload)


def of(*rows: Row, seconds: float = 0) -> Commit:
    """A commit of rows alone."""
    now_us = START_US + round(seconds * SECOND)
    return Commit(now_us, now_us, rows=rows)


def query(path: Path, statement: str, parameters: Sequence[object] = ()) -> list[tuple]:
    """Rows as SQLite itself sees them, past our own reader."""
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute(statement, parameters).fetchall()


def assert_rollups_match_readings(path: Path) -> None:
    """Every slot equals low, high, total and count taken anew from the readings; no slot is spare.

    Up to where they are made, that is, and from where readings were let go.
    """
    upkeep = dict(query(path, "SELECT what, value FROM upkeep"))
    from_us = upkeep.get("readings_from_us", 0)
    readings = query(path, "SELECT series, observed_us, value, flag_mark FROM readings")
    for what, width_us, statement in GRIDS:
        to_us = upkeep.get(what, 0)
        expected: dict[tuple[int, int], list[float]] = {}
        for series, observed_us, value, flag_mark in readings:
            is_usable = (
                value is not None and isfinite(value) and flag_mark % 16 not in (Flag.FAIL, Flag.MISSING)
            )
            if is_usable and from_us <= observed_us < to_us:
                expected.setdefault((series, observed_us // width_us * width_us), []).append(value)
        rows = query(path, statement)
        assert all(at_us < to_us for _, at_us, *_ in rows)
        found = {(series, at_us): rest for series, at_us, *rest in rows if at_us >= from_us}
        assert found.keys() == expected.keys()
        for slot, values in expected.items():
            low, high, total, count = found[slot]
            assert (low, high, count) == (min(values), max(values), len(values)), slot
            # The order of addition may differ: a few units in the last place of the largest partial sum.
            room = 1e-12 * sum(map(abs, values))
            assert isclose(total, sum(values), rel_tol=1e-12, abs_tol=room), slot


GRIDS = (
    ("quarters_to_us", SLOT_US, "SELECT series, slot_us, low, high, total, count FROM rollups"),
    (
        "minutes_to_us",
        60 * SECOND,
        "SELECT series, minute * 60000000, low, ifnull(high, low), ifnull(total, low * count), count FROM minutes",  # noqa: E501
    ),
)


def roll_up(store: Store, seconds: float) -> None:
    """Bring the rollups up, as of so many seconds after the start."""
    Upkeep(store).catch_up(START_US + round(seconds * SECOND))
