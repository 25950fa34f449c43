"""A thousand settings tried on a recorded week, beside what the engine itself takes for one of them.

python -m tests.bench.tune [--steps 10] [--runs 1]

The week is that of replay_file.py, 363 k readings in which the heater fails in the sixth night. Three limits
are tried, so many steps each, by `brinebell tune` as a user starts it: wall time with the start of Python,
reading the file and one pass of the engine in each process. Beside it, in the same run: `brinebell replay` of
the week, which is what one setting takes by the engine itself.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

from tests.bench.replay_file import POWER, TANK, rows_of_a_week, run, write_weeks

TRIES = (
    "tanks.reef.series.temperature.alarm_low=23 degC..25.3 degC",
    "tanks.reef.series.temperature.alarm_high=25.8 degC..27.5 degC",
    "tanks.reef.series.sump_level.alarm_low=19 cm..21.9 cm",
)


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--steps", type=int, default=10, help="values of each of three limits (default 10)")
    parser.add_argument("--runs", type=int, default=1, help="runs of each, of which the best counts (1)")
    options = parser.parse_args()
    brinebell = [sys.executable, "-m", "collector"]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        config = folder / "tank.toml"
        config.write_text(TANK.read_text(encoding="utf-8").replace("[[sources]]", POWER), encoding="utf-8")
        write_weeks(folder / "week.csv", rows_of_a_week(), 1)
        week = folder / "heater_failed_off"
        begins = ["--at", "2026-03-07T02:10Z", "--for", "7 h", "--unheated", "20 degC"]
        given = ["--config", str(config)]
        inject = ["inject", str(folder / "week.csv"), "--cause", "heater_failed_off", *begins]
        run([*brinebell, *inject, *given, "--out", str(week)])
        tries = [argument for one in TRIES for argument in ("--try", one)]
        count = options.steps ** len(TRIES)
        tune = ["tune", str(week), *given, *tries, "--steps", str(options.steps), "--most", str(count)]
        replay = ["replay", str(week / "heater_failed_off.csv"), *given]
        one = min(run([*brinebell, *replay]) for _ in range(options.runs))
        many = min(run([*brinebell, *tune]) for _ in range(options.runs))
    print("| what | s | MB | settings/s |")
    print("|---|---|---|---|")
    print(f"| replay, one setting | {one[0]:.2f} | {one[1]:.0f} | {1 / one[0]:.1f} |")
    print(f"| tune, {count:,} settings | {many[0]:.2f} | {many[1]:.0f} | {count / many[0]:.1f} |")
    print(f"\n{count * one[0] / many[0]:.0f} times as many in the same time as by a replay of each.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
