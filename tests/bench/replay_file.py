"""A recorded week from a CSV file to its incidents, beside a plain pandas read and ioos_qc, and its growth.

python tests/bench/replay_file.py [--runs 3] [--weeks 1,4,52]

The week is a simulated tank's six series every 10 s, 363 k readings in wide form. `brinebell replay` is
started as a user starts it: wall time with the start of Python, and greatest memory. Beside it, in the same
run: pandas reading the same file and nothing else, and ioos_qc with four tests a column on what it read, each
with its own start as well. Longer files repeat the week. Of runs that alternate: the best, and the median.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from collector.simulation import SimulatedTank, TankSettings

START_US = 1_772_409_600_000_000
WEEK_US = 7 * 86_400_000_000
EVERY_US = 10_000_000
SERIES = ("temperature", "ph", "practical_salinity", "sump_level", "reservoir", "heater_power")
TANK = Path(__file__).resolve().parents[2] / "replay_data" / "tank.toml"
POWER = '[tanks.reef.series.heater_power]\nquantity = "power"\n\n[[sources]]'
# Beyond it the library would take more memory than a machine has.
MOST_WEEKS_OF_LIBRARY = 8
PANDAS = "import sys, pandas as pd; pd.read_csv(sys.argv[1], parse_dates=['time'])"
IOOS = """
import sys, warnings, pandas as pd
warnings.simplefilter("ignore")
from ioos_qc import qartod
table = pd.read_csv(sys.argv[1], parse_dates=["time"])
stamps = table["time"].dt.tz_localize(None).to_numpy("datetime64[ns]")
for name in table.columns[1:]:
    column = table[name].to_numpy(float)
    qartod.gross_range_test(column, (-50, 5000), (-40, 4000))
    qartod.spike_test(column, 0.5, 2.0)
    qartod.rate_of_change_test(column, stamps, 0.01)
    qartod.flat_line_test(column, stamps, 3600, 7200, 0.0005)
"""


def rows_of_a_week() -> list[str]:
    """What stands behind the time in each row."""
    tank = SimulatedTank(TankSettings(), seed=3, start_us=START_US)
    recording = tank.record(START_US + WEEK_US, EVERY_US)
    columns = [recording.columns[name] for name in SERIES]
    return [",".join(f"{value:g}" for value in row) for row in np.column_stack(columns).tolist()]


def write_weeks(path: Path, rows: Sequence[str], weeks: int) -> None:
    with path.open("w", encoding="utf-8") as file:
        file.write(f"time,{','.join(SERIES)}\n")
        for number in range(weeks * len(rows)):
            at = datetime.fromtimestamp(START_US // 1_000_000 + 10 * number, UTC)
            file.write(f"{at:%Y-%m-%dT%H:%M:%SZ},{rows[number % len(rows)]}\n")


def run(command: Sequence[str]) -> tuple[float, float]:
    """Seconds on the wall, and greatest resident memory in MB."""
    begun = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    took = time.perf_counter() - begun
    if status:
        raise SystemExit(f"{command} ended with {status}")
    return took, usage.ru_maxrss / 1024


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--runs", type=int, default=3, help="runs of each (default 3)")
    parser.add_argument("--weeks", default="1,4", help="lengths of the files in weeks (default 1,4)")
    options = parser.parse_args()
    print("| weeks | readings | what | best s | median s | most MB | to pandas |")
    print("|---|---|---|---|---|---|---|")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        settings = folder / "tank.toml"
        settings.write_text(TANK.read_text(encoding="utf-8").replace("[[sources]]", POWER), encoding="utf-8")
        rows = rows_of_a_week()
        for weeks in map(int, options.weeks.split(",")):
            path = folder / f"{weeks}.csv"
            write_weeks(path, rows, weeks)
            commands = {
                "pandas reads": [sys.executable, "-c", PANDAS, str(path)],
                "ioos_qc, four tests": [sys.executable, "-c", IOOS, str(path)],
                "brinebell replay": [
                    sys.executable,
                    "-m",
                    "collector",
                    "replay",
                    str(path),
                    "--config",
                    str(settings),
                ],
            }
            if weeks > MOST_WEEKS_OF_LIBRARY:
                del commands["ioos_qc, four tests"]
            found: dict[str, list[tuple[float, float]]] = {what: [] for what in commands}
            for _ in range(options.runs):
                for what, command in commands.items():
                    found[what].append(run(command))
            least = min(took for took, _ in found["pandas reads"])
            for what, runs in found.items():
                times = [took for took, _ in runs]
                memory = max(mb for _, mb in runs)
                figures = f"{min(times):.2f} | {statistics.median(times):.2f} | {memory:.0f}"
                count = weeks * len(rows) * len(SERIES)
                print(f"| {weeks} | {count:,} | {what} | {figures} | {min(times) / least:.1f} |", flush=True)
            path.unlink()
    return 0


if __name__ == "__main__":
    sys.exit(main())
