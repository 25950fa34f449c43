"""A year of one series on its page: server time beside bare SQL that groups the same readings, in one run.

python tests/bench/history_page.py [--days 365] [--every 10] [--runs 7] [--folder FOLDER]

A store is filled through the service's own commits with a reading every 10 s for a year (3.15 million) and a
baseline for each night; FOLDER keeps it for the next run. The real page server answers a real client on this
machine, one request at a time; the reference is SQLite's GROUP BY into as many buckets, over the readings and
over the quarter hours, on a connection of its own. Medians of the runs are printed, and the first answer of a
fresh server.
"""

from __future__ import annotations

import argparse
import http.client
import math
import random
import sqlite3
import statistics
import tempfile
import time
from contextlib import closing
from pathlib import Path
from urllib.parse import urlsplit

from collector.clock import Clock
from collector.configuration import Configuration
from collector.learning import record
from collector.pages import serve_in_thread
from collector.pages.history import CHART_BUCKETS
from collector.store import Commit, Store, StoreReader, Upkeep
from rules import WeekProfile
from tests.pages import tank

DAY_US = 24 * tank.HOUR
BATCH = 50_000
SERIES = (("temperature", "temperature", "Display temperature"),)
_OF = "/series/reef/temperature"
PAGES = {
    "a day": f"{_OF}?hours=24",
    "a week": f"{_OF}?hours=168",
    "a year": f"{_OF}?hours=8760",
    "and the one before": f"{_OF}?hours=8760&against=before",
    "what if, 8 days": "/what-if/reef/temperature?alarm_low=25&from=2026-02-27T00:00&to=2026-03-07T00:00",
}


def fill(configuration: Configuration, days: int, every_s: int) -> int:
    """A year with a day's swing, a season, and noise; returns how many readings."""
    chance = random.Random(1)
    start_us = tank.NOW - days * DAY_US
    count = days * 86_400 // every_s
    with Store(configuration.store.path, synchronous="OFF") as store:
        store.register(configuration.series)
        for first in range(0, count, BATCH):
            rows = []
            for place in range(first, min(first + BATCH, count)):
                at_us = start_us + place * every_s * tank.SECOND
                day, year = (2 * math.pi * (at_us % span) / span for span in (DAY_US, 365 * DAY_US))
                value = 25.5 + 0.2 * math.sin(day) + 0.4 * math.sin(year) + chance.gauss(0.0, 0.02)
                rows.append((0, at_us, round(value, 3), 1, 0, 50, 0, b""))
            store.commit(Commit(rows[-1][1], rows[-1][1], rows=rows))
        # As a service is that has been running: its rollups are a quarter of an hour behind.
        Upkeep(store).catch_up(tank.NOW)
        for night in range(7, days):
            shape = tuple(25.5 + 0.2 * math.sin(2 * math.pi * quarter / 96) for quarter in range(96))
            usual = WeekProfile("Europe/Madrid", (shape,), (0.15,) * 96, 0.95, "day", 0.4, min(night, 28))
            at_us = start_us + night * DAY_US
            record(store, [(0, usual)], fitted_us=at_us, applies_from_us=at_us)
    return count


def asked(address: str, path: str) -> tuple[float, float, float, int]:
    """Seconds to the first byte and to the last, of the processor for both ends, and how many bytes."""
    parts = urlsplit(address)
    with closing(http.client.HTTPConnection(parts.hostname or "", parts.port, timeout=60)) as connection:
        begun, worked = time.perf_counter(), time.process_time()
        connection.request("GET", path)
        answer = connection.getresponse()
        answer.read(1)
        first = time.perf_counter() - begun
        size = 1 + len(answer.read())
        if answer.status != 200:
            raise SystemExit(f"{path} was answered with {answer.status}")
        return first, time.perf_counter() - begun, time.process_time() - worked, size


def bare(path: Path, table: str, start_us: int, end_us: int) -> float:
    """Seconds of SQLite's own grouping of a series into as many buckets."""
    width_us = (end_us - start_us) // CHART_BUCKETS
    columns = {
        "readings": ("observed_us", "min(value), max(value), avg(value), count(*)", "AND flag_mark & 15 < 4"),
        "rollups": ("slot_us", "min(low), max(high), sum(total) / sum(count), sum(count)", ""),
    }[table]
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as connection:
        begun = time.perf_counter()
        rows = connection.execute(
            f"SELECT ({columns[0]} - ?) / ? AS bucket, {columns[1]} FROM {table}"
            f" WHERE series = 1 AND {columns[0]} >= ? AND {columns[0]} < ? {columns[2]} GROUP BY bucket",
            (start_us, width_us, start_us, end_us),
        ).fetchall()
        took = time.perf_counter() - begun
    if not CHART_BUCKETS - 1 <= len(rows) <= CHART_BUCKETS + 1:
        raise SystemExit(f"{table}: {len(rows)} buckets instead of {CHART_BUCKETS}")
    return took


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=int, default=365)
    parser.add_argument("--every", type=int, default=10, help="seconds between readings")
    parser.add_argument("--runs", type=int, default=7)
    parser.add_argument("--folder", type=Path)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        configuration = tank.configuration(options.folder or Path(scratch), series=SERIES)
        path = configuration.store.path
        if not path.exists():
            begun = time.perf_counter()
            count = fill(configuration, options.days, options.every)
            print(f"{count:,} readings stored in {time.perf_counter() - begun:.0f} s")
        start_us = tank.NOW - options.days * DAY_US
        clock = Clock(wall=lambda: tank.NOW)
        with serve_in_thread(configuration, lambda: StoreReader(path), clock) as server:
            heads = ("first byte", "whole page", "processor", "first asked")
            print(f"{'':20}", *(f"{head:>12}" for head in heads), f"{'size':>10}")
            whole = 0.0
            for name, page in PAGES.items():
                fresh = asked(server.address, page)[1]
                found = [asked(server.address, page) for _ in range(options.runs)]
                first, last, worked = (statistics.median(one[place] for one in found) for place in (0, 1, 2))
                whole = last if name == "a year" else whole
                print(
                    f"{name:20} {1000 * first:9.0f} ms {1000 * last:9.0f} ms {1000 * worked:9.0f} ms"
                    f" {1000 * fresh:9.0f} ms {found[0][3] / 1000:7.0f} kB"
                )
        for table in ("readings", "rollups"):
            took = statistics.median(
                bare(path, table, start_us, tank.NOW) for _ in range(min(options.runs, 3))
            )
            print(
                f"bare SQL over {table}: {1000 * took:.0f} ms, a year on the page: {whole / took:.2f} of it"
            )


if __name__ == "__main__":
    main()
