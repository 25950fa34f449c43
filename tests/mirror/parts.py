"""Stores with hours of readings, and the mirror running on them."""

from __future__ import annotations

import contextlib
import random
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from collector.configuration import DatabaseConfiguration, SeriesConfiguration
from collector.database import Target, open_database
from collector.mirror import MirrorWorker, Pace
from collector.store import Commit, MirrorCursor, MirrorState, Row, Store, StoreReader
from rules import Flag
from tests.delivery.receivers import wait_for
from tests.store.commits import SECOND, query

SERIES = (
    SeriesConfiguration("reef", "temperature", "temperature"),
    SeriesConfiguration("reef", "ph", "ph"),
    SeriesConfiguration("reef", "reservoir", "volume"),
    SeriesConfiguration("nursery", "temperature", "temperature"),
)
# Half a day of readings from here crosses from one of the database's shards to the next, on Monday 00:00 UTC.
BEGIN_US = 1_764_547_200_000_000 - 6 * 3600 * SECOND


def rows(
    count: int,
    *,
    begin_us: int = BEGIN_US,
    step_us: int = 10 * SECOND,
    seed: int = 1,
    series: int = 4,
    missing: float = 0.02,
) -> list[Row]:
    """Readings of uneven times and every digit of a float, in order of time; some were not measured."""
    chance = random.Random(seed)
    found = []
    for number in range(count):
        is_missing = chance.random() < missing
        at_us = begin_us + number // series * step_us + chance.randrange(SECOND)
        value = float("nan") if is_missing else chance.gauss(25, 0.2)
        flag = Flag.MISSING if is_missing else chance.choice([Flag.PASS, Flag.PASS, Flag.SUSPECT, Flag.FAIL])
        found.append((number % series, at_us, value, int(flag), 0, 50, 0, b""))
    return sorted(found, key=lambda row: row[1])


def store(store: Store, some: Sequence[Row], size: int = 500) -> None:
    for begin in range(0, len(some), size):
        part = some[begin : begin + size]
        store.commit(Commit(part[-1][1], part[-1][1], rows=part))


@contextlib.contextmanager
def opened(path: Path) -> Iterator[Store]:
    with Store(path, synchronous="OFF") as opened:
        opened.register(SERIES)
        yield opened


def stored(path: Path) -> dict[tuple[str, str, int], tuple[float | None, int]]:
    """What SQLite itself has, as the database is to have it."""
    return {
        (tank, name, at_us): (value, flag)
        for tank, name, at_us, value, flag in query(
            path,
            "SELECT tank, name, observed_us, value, flag_mark & 15 FROM readings JOIN series ON id = series",
        )
    }


def state(path: Path) -> MirrorState | None:
    with StoreReader(path) as reader:
        return reader.mirror_state()


@contextlib.contextmanager
def mirror(
    path: Path,
    database: DatabaseConfiguration,
    *,
    wrap: Callable[[Target], Target] = lambda target: target,
    most: int = 5000,
    timeout_s: float | None = None,
    pass_step: Callable[[str], object] = lambda _step: None,
) -> Iterator[MirrorWorker]:
    """The mirror, impatient enough for a test."""
    worker = MirrorWorker(
        lambda: MirrorCursor(path, database.identity),
        lambda: wrap(open_database(database, timeout_s=timeout_s)),
        interval_s=database.interval_s,
        pace=Pace(most=most, first_pause_s=0.02, longest_pause_s=0.1),
        pass_step=pass_step,
    )
    with worker:
        yield worker


def until_all_sent(path: Path, database: DatabaseConfiguration, seconds: float = 30.0) -> None:
    """Wait until that database has everything; before the mirror starts, another one may have it."""

    def is_done() -> bool:
        now = state(path)
        return now is not None and now.target == database.identity and now.oldest_us is None

    wait_for(is_done, seconds)
