"""Does a choice of limits made on some weeks help on weeks that it was not made on?

python -m tests.bench.held_out [--weeks 40] [--seed 1]

Simulated tanks of 200 to 800 L, a week each with readings every five minutes. In two weeks of three something
goes wrong, at an instant and of a size drawn by chance. `brinebell tune` tries limits; this prints what those
chosen on every other week cost on the weeks between, beside the limits as they are, and the same with the
halves exchanged.
"""

from __future__ import annotations

import argparse
import json
import random
import subprocess
import sys
import tempfile
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from collector.annotations import annotations_text
from collector.simulation import SimulatedTank, TankSettings
from collector.simulation.faults import (
    HeaterFailedOff,
    HeaterStuckOn,
    HeaterWeak,
    Leak,
    SimulatedFault,
    TopOffFailed,
    TopOffStuckOn,
)
from collector.simulation.recordings import TANK, csv_text
from rules import HOUR_US, Annotation

START_US = round(datetime(2026, 3, 2, tzinfo=UTC).timestamp()) * 1_000_000
WEEK_US = round(timedelta(days=7).total_seconds()) * 1_000_000
EVERY_US = 300_000_000
CONFIG = Path(__file__).resolve().parents[2] / "replay_data" / "tank.toml"
TRIES = (
    "tanks.reef.series.temperature.alarm_low=24 degC, 24.4 degC, 24.8 degC, 25.1 degC",
    "tanks.reef.series.temperature.alarm_high=26 degC, 26.3 degC, 26.8 degC, 27.5 degC",
    "tanks.reef.series.sump_level.alarm_low=20 cm, 20.8 cm, 21.4 cm, 21.8 cm",
    "tanks.reef.series.sump_level.alarm_high=22.3 cm, 22.8 cm, 23.5 cm, 25 cm",
    "tanks.reef.series.practical_salinity.alarm_high=35.4, 35.8, 36.4, 37",
)
Make = Callable[[random.Random, int, int], SimulatedFault]
FAULTS: dict[str, tuple[Make, tuple[str, ...]]] = {
    "heater_failed_off": (lambda _, first, last: HeaterFailedOff(first, last), ("temperature",)),
    "heater_weak": (
        lambda chance, first, last: HeaterWeak(first, last, share=chance.uniform(0.05, 0.4)),
        ("temperature",),
    ),
    "heater_stuck_on": (lambda _, first, last: HeaterStuckOn(first, last), ("temperature",)),
    "top_off_failed": (
        lambda _, first, last: TopOffFailed(first, last),
        ("sump_level", "practical_salinity", "reservoir"),
    ),
    "top_off_overdose": (
        lambda _, first, last: TopOffStuckOn(first, last),
        ("sump_level", "practical_salinity", "reservoir"),
    ),
    "leak": (
        lambda chance, first, last: Leak(first, last, litres_per_hour=chance.uniform(0.5, 6.0)),
        ("sump_level", "practical_salinity", "reservoir"),
    ),
}


def write_week(folder: Path, number: int, chance: random.Random) -> None:
    """A recorded week and its annotation file."""
    first_us = START_US + round(chance.uniform(1.0, 5.5) * 24 * HOUR_US) // EVERY_US * EVERY_US
    last_us = first_us + round(chance.uniform(6.0, 30.0)) * HOUR_US
    name = chance.choice([*FAULTS]) if number % 3 else None
    faults, happened = [], []
    if name is not None:
        make, series = FAULTS[name]
        faults.append(make(chance, first_us, last_us))
        happened.append(Annotation(TANK, name, first_us, last_us, series))
    litres = chance.choice([200.0, 400.0, 800.0])
    settings = TankSettings(volume_litres=litres, reservoir_litres=60.0, refill_every_days=0)
    tank = SimulatedTank(settings, seed=number, start_us=START_US - 24 * HOUR_US, faults=faults)
    tank.advance_to(START_US)
    folder.mkdir()
    (folder / "week.csv").write_text(csv_text(tank.record(START_US + WEEK_US, EVERY_US)), encoding="utf-8")
    text = annotations_text(name or "A quiet week", happened)
    (folder / "week.annotations.toml").write_text(text, encoding="utf-8")


def held_out(folders: list[Path]) -> dict[str, Any] | None:
    """What `brinebell tune` says of a choice made on every other week."""
    tries = [argument for one in TRIES for argument in ("--try", one)]
    command = [sys.executable, "-m", "collector", "tune", *map(str, folders), "--config", str(CONFIG), *tries]
    result = subprocess.run(
        [*command, "--most", "2000", "--json"], capture_output=True, text=True, check=False
    )
    if result.returncode:
        raise SystemExit(result.stderr)
    found: dict[str, Any] | None = json.loads(result.stdout)["held_out"]
    return found


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--weeks", type=int, default=40, help="how many weeks (default 40)")
    parser.add_argument("--seed", type=int, default=1, help="of chance (default 1)")
    options = parser.parse_args()
    chance = random.Random(options.seed)
    print("| chosen on | chosen | weeks between, as it is | weeks between, chosen |")
    print("|---|---|---|---|")
    with tempfile.TemporaryDirectory() as name:
        folders = [Path(name) / f"week-{number:03}" for number in range(options.weeks)]
        for number, folder in enumerate(folders):
            write_week(folder, number, chance)
        for what, order in (("even weeks", folders), ("odd weeks", [*folders[1:], folders[0]])):
            found = held_out(order)
            if found is None:
                raise SystemExit("in one half nothing is the matter: more weeks are needed")
            values = ", ".join(map(str, found["values"])) or "as it is"
            print(f"| {what} | {values} | {found['before']:.1f} | {found['after']:.1f} |", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
