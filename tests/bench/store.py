"""What the store costs over a bare insert loop, in one run: rows a second, bytes a reading, a week read.

Bytes are counted twice: those that a reading takes in the file, and those that are written for it by and by,
log and checkpoints included, which is what wears an SD card (`wchar` of /proc/self/io: pages as SQLite hands
them over; what a card writes for a page is its own secret). The latter depends on the commit interval.

python tests/bench/store.py [--rows 120000] [--runs 5] [--sync FULL] [--folder FOLDER]

FOLDER must lie on the disk to be measured (default: a temporary folder). The bare loop is BEGIN,
executemany of INSERT OR IGNORE into a WITHOUT ROWID table of the same six columns, COMMIT. Both are
given the same lists; runs of the two alternate, and medians are printed.
"""

from __future__ import annotations

import argparse
import random
import sqlite3
import statistics
import tempfile
import time
from itertools import groupby
from pathlib import Path

import numpy as np

from collector.configuration import SeriesConfiguration
from collector.store import Commit, Row, Store, StoreReader, Upkeep

SERIES = tuple(SeriesConfiguration("reef", f"probe_{n}", "temperature") for n in range(6))
START_US = 1_764_000_000_000_000
STEP_US = 10_000_000
WEEK = 6 * 7 * 8640
BARE_TABLE = (
    "CREATE TABLE readings(series INTEGER NOT NULL, observed_us INTEGER NOT NULL, value REAL,"
    " flag INTEGER NOT NULL, delay_ms INTEGER NOT NULL, commit_no INTEGER NOT NULL,"
    " PRIMARY KEY(series, observed_us)) STRICT, WITHOUT ROWID"
)


def make_rows(count: int) -> list[Row]:
    """Six series every 10 s, with noise of three decimals, uneven times, 5 to 127 ms on their way."""
    chance = random.Random(1)
    return [
        (
            k % 6,
            START_US + k // 6 * STEP_US + chance.randrange(1_000_000),
            round(25 + chance.gauss(0, 0.2), 3),
            1,
            0,
            chance.randrange(5, 128),
            0,
            b'{"value":25.123}',
        )
        for k in range(count)
    ]


def bare_loop(path: Path, rows: list[Row], batch: int, sync: str) -> float:
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute(f"PRAGMA synchronous = {sync}")
    connection.execute(BARE_TABLE)
    blocks = [
        [(s + 1, t, v, f, d, k // batch + 1) for s, t, v, f, _, d, _, _ in rows[k : k + batch]]
        for k in range(0, len(rows), batch)
    ]
    begin = time.perf_counter()
    for block in blocks:
        connection.execute("BEGIN")
        connection.executemany("INSERT OR IGNORE INTO readings VALUES(?, ?, ?, ?, ?, ?)", block)
        connection.execute("COMMIT")
    taken = time.perf_counter() - begin
    connection.close()
    return taken


def store_loop(path: Path, rows: list[Row], batch: int, sync: str) -> float:
    with Store(path, synchronous=sync) as store:
        store.register(SERIES)
        commits = [
            Commit(rows[k][1], rows[k][1], rows=rows[k : k + batch]) for k in range(0, len(rows), batch)
        ]
        begin = time.perf_counter()
        for commit in commits:
            store.commit(commit)
        return time.perf_counter() - begin


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--rows", type=int, default=120_000)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--sync", default="FULL")
    parser.add_argument("--folder")
    options = parser.parse_args()
    rows = make_rows(options.rows)
    print(f"SQLite {sqlite3.sqlite_version}, synchronous={options.sync}, median of {options.runs} runs")
    with tempfile.TemporaryDirectory(dir=options.folder) as folder:
        for batch in (1, 10, 100, 300, 1000):
            used = rows[: max(2000, min(len(rows), batch * 400))]
            bare, ours = [], []
            for run in range(options.runs):
                bare.append(
                    len(used) / bare_loop(Path(folder, f"bare{batch}-{run}"), used, batch, options.sync)
                )
                ours.append(
                    len(used) / store_loop(Path(folder, f"ours{batch}-{run}"), used, batch, options.sync)
                )
            ratio = statistics.median(mine / theirs for mine, theirs in zip(ours, bare, strict=True))
            print(
                f"blocks of {batch:4}: bare {statistics.median(bare):9,.0f} rows/s, store "
                f"{statistics.median(ours):9,.0f} rows/s, ratio {ratio:.2f}"
            )
        week = make_rows(WEEK)
        for batch, name in ((6, "six readings"), (1, "one reading")):
            path = Path(folder, f"week{batch}")
            used = week if batch == 6 else week[: WEEK // 4]
            store_loop(path, used, batch, "OFF")
            with Store(path, synchronous="OFF") as store:
                Upkeep(store).catch_up(used[-1][1] + 3600 * 1_000_000)
            size = path.stat().st_size / len(used)
            print(f"size at {name} a commit: {size:.1f} bytes a reading, all tables")
            read_tables(path, len(used))
        write_bytes(folder)
        read_week(Path(folder, "week6"), options.runs)


def write_bytes(folder: str) -> None:
    """Six hours of six series, each ten seconds a reading at its own moment, by the commit interval."""
    rows = sorted(
        (
            (k % 6, START_US + k * STEP_US // 6, 25 + k % 97 / 1000, 1, 0, 60, 0, b"")
            for k in range(6 * 6 * 360)
        ),
        key=lambda one: one[1],
    )
    for interval_s in (0, 1, 5, 10, 30, 60):
        width_us = max(1, interval_s * 1_000_000)
        groups = [list(group) for _, group in groupby(rows, key=lambda one: one[1] // width_us)]
        path = Path(folder, f"written{interval_s}")
        before = written()
        with Store(path) as store:
            store.register(SERIES)
            upkeep, quarter = Upkeep(store), 0
            for group in groups:
                store.commit(Commit(group[-1][1], group[-1][1], rows=group))
                if group[-1][1] // 900_000_000 != quarter:
                    quarter = group[-1][1] // 900_000_000
                    upkeep.catch_up(group[-1][1])
        ours = written() - before
        before = written()
        connection = sqlite3.connect(Path(folder, f"bare{interval_s}"), isolation_level=None)
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute(BARE_TABLE)
        for group in groups:
            connection.execute("BEGIN")
            connection.executemany(
                "INSERT INTO readings VALUES(?, ?, ?, ?, ?, 0)",
                [(s + 1, t, v, f, d) for s, t, v, f, _, d, _, _ in group],
            )
            connection.execute("COMMIT")
        connection.close()
        bare = written() - before
        print(
            f"commit interval {interval_s:2} s: {ours / len(rows):8,.0f} bytes written a reading, "
            f"{4 * ours / 1e6:7,.0f} MB a day; bare table {bare / len(rows):8,.0f}, ratio {ours / bare:.2f}"
        )


def written() -> int:
    """Bytes that this process has handed to the kernel for files."""
    return int(Path("/proc/self/io").read_text().split("wchar: ")[1].split()[0])


def read_tables(path: Path, count: int) -> None:
    with sqlite3.connect(path) as connection:
        try:
            sizes = connection.execute("SELECT name, sum(pgsize) FROM dbstat GROUP BY name").fetchall()
        except sqlite3.OperationalError:  # SQLite built without dbstat
            return
        print("  " + ", ".join(f"{name} {size / count:.1f}" for name, size in sizes if size / count > 0.1))
    connection.close()


def read_week(path: Path, runs: int) -> None:
    kind = np.dtype([("time", "i8"), ("value", "f8"), ("flag", "u1")])
    connection = sqlite3.connect(path)
    plain, ours, charts, blocks = [], [], [], []
    with StoreReader(path) as reader:
        end_us = START_US + 8 * 86_400_000_000
        for _ in range(runs):
            begin = time.perf_counter()
            for series in range(1, 7):
                np.fromiter(
                    connection.execute(
                        "SELECT observed_us, value, flag_mark FROM readings"
                        " WHERE series = ? AND observed_us >= ? ORDER BY observed_us",
                        (series, START_US),
                    ),
                    dtype=kind,
                )
            plain.append(time.perf_counter() - begin)
            begin = time.perf_counter()
            found = sum(len(reader.readings(series, START_US, end_us).values) for series in range(1, 7))
            ours.append(time.perf_counter() - begin)
            assert found == WEEK
            begin = time.perf_counter()
            for series in range(1, 7):
                reader.buckets(series, START_US, end_us, 600)
            charts.append(time.perf_counter() - begin)
            begin = time.perf_counter()
            found = sum(len(one.block) for one in reader.recorded_blocks(range(1, 7), START_US))
            blocks.append(time.perf_counter() - begin)
            assert found == WEEK
    connection.close()
    ratio = statistics.median(mine / theirs for mine, theirs in zip(ours, plain, strict=True))
    print(
        f"week of {WEEK:,} readings to numpy: bare {1e3 * statistics.median(plain):.0f} ms, reader "
        f"{1e3 * statistics.median(ours):.0f} ms ({WEEK / statistics.median(ours) / 1e6:.2f} M/s), "
        f"time ratio {ratio:.2f}"
    )
    print(f"six charts of the week in 600 buckets from rollups: {1e3 * statistics.median(charts):.1f} ms")
    print(f"the week as recorded blocks: {1e3 * statistics.median(blocks):.0f} ms")


if __name__ == "__main__":
    main()
