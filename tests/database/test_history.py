"""The door for charts and baselines: the store while it has readings, the database for what is older."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from collector.database import readings_of
from collector.store import Readings, Store, StoreReader
from tests.store.commits import SECOND, SERIES, START_US, of, row


class Past:
    """A database that has a reading every ten seconds, and notes what it is asked for."""

    def __init__(self) -> None:
        self.asked: list[tuple[str, str, int, int]] = []

    def readings(self, tank: str, series: str, start_us: int, end_us: int) -> Readings:
        self.asked.append((tank, series, (start_us - START_US) // SECOND, (end_us - START_US) // SECOND))
        times = np.arange(start_us, end_us, 10 * SECOND)
        return Readings(times, np.full(len(times), 20.0), np.ones(len(times), np.uint8))

    def close(self) -> None: ...


def test_the_database_is_asked_only_for_what_is_older_than_all_that_the_store_has(tmp_path: Path) -> None:
    path = tmp_path / "brinebell.sqlite"
    with Store(path) as store, StoreReader(path) as reader:
        store.register(SERIES)
        store.commit(of(*(row(0, at, 25.0) for at in range(100, 200, 10))))
        past = Past()

        def values(start: int, end: int, name: str = "temperature", known: Past | None = past) -> list[float]:
            span = START_US + start * SECOND, START_US + end * SECOND
            return readings_of(reader, known, "reef", name, *span).values.tolist()

        assert values(100, 140) == [25.0] * 4
        assert past.asked == []
        assert values(80, 120) == [20.0, 20.0, 25.0, 25.0]
        assert values(0, 30) == [20.0] * 3
        assert past.asked == [("reef", "temperature", 80, 100), ("reef", "temperature", 0, 30)]
        # Of a series of which the store has nothing any more, or never had, all is asked for.
        assert values(180, 200, "ph") == [20.0, 20.0]
        assert values(180, 200, "sump_level") == [20.0, 20.0]
        assert values(80, 120, known=None) == [25.0, 25.0]
