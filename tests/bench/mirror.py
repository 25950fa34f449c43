"""The mirror beside influxdb-client that is fed ready lines, on the same servers in the same run.

python tests/bench/mirror.py [--readings 400000] [--runs 3]

Ready lines in batches of 5,000, the reference, were made before the clock starts. The mirror reads its
readings from a store file, makes the lines, compresses and sends them, and moves its cursor. Runs alternate;
medians are printed, with the CPU time of this process, which other work on the machine disturbs least. Then:
what a commit takes while nothing else goes on, and beside a mirror that catches up at full speed in the same
process; and what the client costs to import. Needs Debian's victoria-metrics and influxdb.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from influxdb_client.client.influxdb_client import InfluxDBClient
from influxdb_client.client.write_api import SYNCHRONOUS

from collector.configuration import DatabaseConfiguration
from collector.database import lines_of, open_database
from collector.mirror import MirrorWorker
from collector.store import Batch, Commit, MirrorCursor, SeriesTags, Store
from tests.bench.resident import IMPORTS, import_seconds
from tests.bench.store import SERIES, make_rows
from tests.database.servers import Influx, Victoria

BATCH = 5000
# Commits a second of a live writer, and readings in each: more than any tank has.
LIVE_HZ, LIVE_ROWS = 50, 8


def fill(path: Path, count: int) -> None:
    with Store(path, synchronous="OFF") as store:
        store.register(SERIES)
        rows = sorted(make_rows(count), key=lambda row: row[1])
        for begin in range(0, count, 1000):
            part = rows[begin : begin + 1000]
            store.commit(Commit(part[-1][1], None, rows=part))


def ready_lines(count: int) -> list[bytes]:
    tags = {number: SeriesTags(one.tank, one.name, one.quantity) for number, one in enumerate(SERIES)}
    rows = sorted(make_rows(count), key=lambda row: row[1])
    return lines_of(tags, *([row[at] for row in rows] for at in range(4)))


def by_client(lines: list[bytes], address: str, *, gzip: bool) -> float:
    with InfluxDBClient(url=address, token="", org="-", enable_gzip=gzip) as client:
        api = client.write_api(write_options=SYNCHRONOUS)
        begin = time.perf_counter()
        for at in range(0, len(lines), BATCH):
            api.write(bucket="bench", org="-", record=lines[at : at + BATCH])
        return time.perf_counter() - begin


def by_target(lines: list[bytes], database: DatabaseConfiguration) -> float:
    target = open_database(database)
    begin = time.perf_counter()
    for at in range(0, len(lines), BATCH):
        target.write(lines[at : at + BATCH])
    taken = time.perf_counter() - begin
    target.close()
    return taken


def by_mirror(path: Path, database: DatabaseConfiguration) -> float:
    # Another identity, so that it begins at the beginning.
    identity = f"{database.identity} {time.monotonic()}"
    done = threading.Event()
    begin = 0.0

    def pass_step(step: str) -> None:
        nonlocal begin
        begin = begin or time.perf_counter()

    class Cursor(MirrorCursor):
        def next_batch(self, limit: int) -> Batch:
            batch = super().next_batch(limit)
            if not len(batch):
                done.set()
            return batch

    with MirrorWorker(
        lambda: Cursor(path, identity),
        lambda: open_database(database),
        interval_s=0.001,
        pass_step=pass_step,
    ):
        done.wait(300)
        return time.perf_counter() - begin


def live_commits(store: Store, seconds: float, from_us: int) -> list[float]:
    """Milliseconds of each commit of a live writer."""
    taken = []
    end = time.monotonic() + seconds
    number = 0
    while time.monotonic() < end:
        at_us = from_us + number * 1_000_000
        rows = [
            (series % 6, at_us + series, 25.0 + number % 7, 1, 0, 50, 0, b"") for series in range(LIVE_ROWS)
        ]
        begin = time.perf_counter()
        store.commit(Commit(at_us, at_us, rows=rows))
        taken.append(1000 * (time.perf_counter() - begin))
        number += 1
        time.sleep(1 / LIVE_HZ)
    return taken


def beside_live(path: Path, database: DatabaseConfiguration, seconds: float) -> None:
    def tell(name: str, taken: list[float]) -> None:
        ordered = sorted(taken)
        at = {share: ordered[int(len(ordered) * share)] for share in (0.5, 0.99)}
        print(
            f"{name}: commit of {LIVE_ROWS} readings, median {at[0.5]:.2f} ms, p99 {at[0.99]:.2f} ms, "
            f"longest {ordered[-1]:.1f} ms, {len(ordered)} commits"
        )

    with Store(path) as store:
        store.register(SERIES)
        far_us = 2_000_000_000_000_000
        tell("alone", live_commits(store, seconds, far_us))
        stop = threading.Event()

        def catch_up() -> None:
            while not stop.is_set():
                by_mirror(path, database)

        thread = threading.Thread(target=catch_up)
        thread.start()
        tell("while a mirror catches up", live_commits(store, seconds, far_us + 10**12))
        stop.set()
        thread.join()


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--readings", type=int, default=400_000)
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--seconds", type=float, default=10.0)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = folder / "brinebell.sqlite"
        fill(path, options.readings)
        lines = ready_lines(options.readings)
        victoria, influx = Victoria(folder / "victoria"), Influx(folder / "influx")
        victoria.start()
        influx.start()
        try:
            v2 = DatabaseConfiguration(victoria.address, bucket="bench")
            v1 = influx.make("bench")
            compare(path, lines, v2, v1, options.runs)
            beside_live(path, v1, options.seconds)
        finally:
            victoria.stop()
            influx.stop()
    bare = IMPORTS["bare libraries"]
    for what, code in (
        ("bare libraries", bare),
        ("with influxdb-client", f"{bare}, collector.database.version2"),
    ):
        seconds, megabytes = import_seconds(code, options.runs)
        print(f"{what}: {seconds:.2f} s, {megabytes:.1f} MB peak")


def compare(
    path: Path, lines: list[bytes], v2: DatabaseConfiguration, v1: DatabaseConfiguration, runs: int
) -> None:
    plain = replace(v2, gzip=False)
    ways: dict[str, Callable[[], float]] = {
        "influxdb-client, ready lines": lambda: by_client(lines, v2.address, gzip=False),
        "influxdb-client, ready lines, its own gzip": lambda: by_client(lines, v2.address, gzip=True),
        "mirror to version 2, plain": lambda: by_mirror(path, plain),
        "mirror to version 2, gzip": lambda: by_mirror(path, v2),
        "ready lines to InfluxDB 1, gzip": lambda: by_target(lines, v1),
        "mirror to InfluxDB 1, gzip": lambda: by_mirror(path, v1),
    }
    found: dict[str, list[float]] = {name: [] for name in ways}
    costs: dict[str, list[float]] = {name: [] for name in ways}
    for _ in range(runs):
        for name, way in ways.items():
            before_s = time.process_time()
            found[name].append(len(lines) / way())
            costs[name].append(1e6 * (time.process_time() - before_s) / len(lines))
    reference = found["influxdb-client, ready lines"]
    for name, rates in found.items():
        ratio = statistics.median(one / other for one, other in zip(rates, reference, strict=True))
        print(
            f"{name}: {statistics.median(rates):,.0f} points/s, ratio {ratio:.2f}, "
            f"{statistics.median(costs[name]):.2f} us of CPU a point"
        )


if __name__ == "__main__":
    main()
