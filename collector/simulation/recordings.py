"""The recordings that ship with the project, and how each is made again byte for byte.

Run `python -m collector.simulation.recordings`. Each is a seed, a tank and what goes wrong in it; the
readings and the annotation file of what truly happened come out of the same run.
"""

from __future__ import annotations

import argparse
import io
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from collector.simulation.faults import HeaterFailedOff
from collector.simulation.tank import Recording, SimulatedTank, TankSettings
from rules import MICROSECONDS

# Readings are the four basic series, every five minutes: a week of them is a file that a person can
# open, and an hour's slope still rests on twelve values.
_EVERY = timedelta(minutes=5)
_MINUTE_US = 60 * MICROSECONDS
_SERIES = {"temperature": 2, "ph": 2, "practical_salinity": 2, "reservoir": 1}


@dataclass(frozen=True, slots=True)
class Case:
    """One recording: where and when it starts, how long it is, and the heater failure in it."""

    name: str
    title: str
    tank: str
    seed: int
    start: datetime
    days: int
    failed: datetime
    repaired: datetime


HEATER_FAILED_OFF = Case(
    name="heater_failed_off",
    title="A week of a simulated reef tank of 400 L; in the sixth night its heater fails off",
    tank="reef",
    seed=20260302,
    start=datetime(2026, 3, 2, tzinfo=UTC),
    days=7,
    failed=datetime(2026, 3, 7, 2, 10, tzinfo=UTC),
    repaired=datetime(2026, 3, 7, 9, 0, tzinfo=UTC),
)
CASES = (HEATER_FAILED_OFF,)


def csv_text(recording: Recording) -> str:
    """The readings in long form, `time,series,value`, times RFC 3339 in UTC; a silent probe has no line."""
    out = io.StringIO()
    out.write("time,series,value\n")
    for row, time_us in enumerate(recording.times_us.tolist()):
        time = _rfc3339(datetime.fromtimestamp(time_us // MICROSECONDS, UTC))
        for name, decimals in _SERIES.items():
            value = recording.columns[name][row]
            if np.isfinite(value):
                out.write(f"{time},{name},{value:.{decimals}f}\n")
    return out.getvalue()


def annotation_text(case: Case, first_needed: datetime) -> str:
    """What truly happened, in the annotation format: TOML with one `[[annotation]]` for each cause."""
    return f'''\
# Annotation file of {case.name}.csv: what truly happened, known because the tank is simulated.
# from, to: instants (RFC 3339); cause: a cause code; series: those in which it shows, the cause first.

title = "{case.title}"

[[annotation]]
from = {_rfc3339(case.failed)}
to = {_rfc3339(case.repaired)}
cause = "heater_failed_off"
tank = "{case.tank}"
series = ["temperature"]
note = "The heater gives no heat from here on; the thermostat first asks for some at \
{_rfc3339(first_needed)}, and until then nothing can be seen. Repaired by hand in the morning."
'''


def make(case: Case) -> tuple[str, str]:
    """Return the text of the recording and of its annotation file."""
    tank = _set_running(case)
    tank.advance_to(_us(case.start))
    recording = tank.record(_us(case.start + timedelta(days=case.days)), _EVERY // timedelta(microseconds=1))
    return csv_text(recording), annotation_text(case, _first_needed(case))


def write(case: Case, folder: Path) -> tuple[Path, Path]:
    """Write the recording and its annotation file to `folder`/`case.name`; returns their paths."""
    readings, annotations = make(case)
    place = folder / case.name
    place.mkdir(parents=True, exist_ok=True)
    recording_path = place / f"{case.name}.csv"
    annotation_path = place / f"{case.name}.annotations.toml"
    recording_path.write_bytes(readings.encode())
    annotation_path.write_bytes(annotations.encode())
    return recording_path, annotation_path


def _set_running(case: Case) -> SimulatedTank:
    # One day before the recording starts, so that the tank has settled by then.
    return SimulatedTank(
        TankSettings(reservoir_litres=46.0, refill_every_days=0),
        seed=case.seed,
        start_us=_us(case.start - timedelta(days=1)),
        faults=[HeaterFailedOff(_us(case.failed), _us(case.repaired))],
    )


def _first_needed(case: Case) -> datetime:
    """When the thermostat of the failed heater first asks for heat, to the minute."""
    tank = _set_running(case)
    tank.advance_to(_us(case.failed))
    while not tank.wants_heat and tank.now_us < _us(case.repaired):
        tank.advance_to(tank.now_us + _MINUTE_US)
    return datetime.fromtimestamp(tank.now_us / MICROSECONDS, UTC)


def _us(at: datetime) -> int:
    return round(at.timestamp()) * MICROSECONDS


def _rfc3339(at: datetime) -> str:
    return at.strftime("%Y-%m-%dT%H:%M:%SZ")


def main(arguments: Sequence[str] | None = None) -> int:
    """Write every recording into the folder given."""
    parser = argparse.ArgumentParser(
        prog="python -m collector.simulation.recordings",
        description="Make the recordings that ship with the project again, byte for byte.",
        epilog="example: python -m collector.simulation.recordings --folder replay_data",
    )
    parser.add_argument("--folder", type=Path, default=Path("replay_data"), help="where to (replay_data)")
    folder = parser.parse_args(arguments).folder
    for case in CASES:
        for path in write(case, folder):
            sys.stdout.write(f"{path}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
