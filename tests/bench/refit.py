"""What a night's fit costs: the fitting process on a real store of four weeks, a series or tank more or less.

python tests/bench/refit.py [--series 8] [--runs 5] [--years 0]

The process is timed with no series (the interpreter and the store), with one (statsmodels is loaded, too) and
with all; what a series costs is the slope between the last two. Memory is the greatest resident size of it.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import orjson

from collector.configuration import SeriesConfiguration
from collector.learning import TankTask, Task, Tasks
from collector.learning.refit import request_of, worker_command
from collector.store import Commit, Store
from rules import HOUR_US, Flag

DAY_US = 24 * HOUR_US
NOW_US = 20_000 * DAY_US
QUARTER_US = HOUR_US // 4


def fill(path: Path, series: int, days: int) -> list[int]:
    """A swing of the day, noise and slow wander, every quarter of an hour; ids of the series."""
    rng = np.random.default_rng(1)
    times_us = np.arange(NOW_US - days * DAY_US, NOW_US, QUARTER_US)
    with Store(path, synchronous="OFF") as store:
        ids = store.register([SeriesConfiguration("reef", f"s{n}", "temperature") for n in range(series)])
        for number in range(series):
            swing = 25.0 + 0.3 * np.sin(times_us / DAY_US * 2 * np.pi + number)
            values = (
                swing + rng.normal(0, 0.05, len(times_us)) + np.cumsum(rng.normal(0, 0.005, len(times_us)))
            )
            rows = [
                (number, int(at), float(value), int(Flag.PASS), 0, 0, 0, b"")
                for at, value in zip(times_us, values, strict=True)
            ]
            for start in range(0, len(rows), 10_000):
                store.commit(Commit(NOW_US, NOW_US, rows=rows[start : start + 10_000]))
    return list(ids)


def run(path: Path, tasks: Tasks) -> tuple[float, float]:
    """Wall seconds and the greatest resident MB of a fitting process."""
    one_thread = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    started = time.perf_counter()
    process = subprocess.Popen(
        worker_command(),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        env=os.environ | one_thread,
    )
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.write(request_of(path, tasks, NOW_US))
    process.stdin.close()
    answers = process.stdout.read().splitlines()
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    took_s = time.perf_counter() - started
    if process.returncode or any("error" in orjson.loads(answer) for answer in answers):
        sys.exit(f"the fitting process failed: {answers[:1]}")
    return took_s, usage.ru_maxrss / 1024


def main() -> None:
    """Time the process and print a table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--series", type=int, default=8, help="series of the store (default 8)")
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument(
        "--years", type=float, default=0.0, help="of record, for the season (default four weeks)"
    )
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "brinebell.sqlite"
        ids = fill(path, options.series, max(28, round(options.years * 365)))
        zone = "Europe/Berlin"
        tasks = tuple(Task(n, ids[n], "reef", "temperature", zone, None) for n in range(options.series))
        timed = {
            count: [run(path, Tasks(tasks[:count])) for _ in range(options.runs)]
            for count in (0, 1, options.series)
        }
        heat = TankTask("reef", zone, ids[0], ids[1], ids[2], None)
        with_heat = statistics.median(run(path, Tasks(tasks, (heat,)))[0] for _ in range(options.runs))
    median = {count: statistics.median(took for took, _ in runs) for count, runs in timed.items()}
    peak = max(memory for _, memory in timed[options.series])
    each = (median[options.series] - median[1]) / (options.series - 1)
    print("| fitting process | |\n|---|---|")
    print(f"| with no series: interpreter, numpy, store | {median[0]:.2f} s |")
    print(f"| with one: statsmodels is loaded, too | {median[1]:.2f} s |")
    print(f"| with {options.series} | {median[options.series]:.2f} s |")
    print(f"| a series of {max(28, round(options.years * 365))} days | {1000 * each:.0f} ms |")
    print(f"| a tank's heat | {1000 * (with_heat - median[options.series]):.0f} ms |")
    print(f"| greatest resident size | {peak:.0f} MB |")


if __name__ == "__main__":
    main()
