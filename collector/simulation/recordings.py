"""The recordings that ship with the project, and how each is made again byte for byte.

Run `python -m collector.simulation.recordings`. Each is a seed, a tank and what goes wrong in it; the
readings and the annotation file of what truly happened come out of the same run.
"""

from __future__ import annotations

import argparse
import io
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from collector.annotations import annotations_text
from collector.simulation.faults import (
    HeaterFailedOff,
    HeaterStuckOn,
    HeaterWeak,
    Leak,
    ProbeDrifting,
    ProbeDry,
    ProbeNoisy,
    ProbeSilent,
    ProbeStuck,
    SimulatedFault,
    TopOffFailed,
    TopOffStuckOn,
)
from collector.simulation.tank import Recording, SimulatedTank, TankSettings
from rules import MICROSECONDS, Annotation

# Readings every five minutes: a week of them is a file that a person can open, and an hour's slope still
# rests on twelve values.
_EVERY = timedelta(minutes=5)
_MINUTE_US = 60 * MICROSECONDS
_SERIES = {"temperature": 2, "ph": 2, "practical_salinity": 2, "sump_level": 2, "reservoir": 1}
_START = datetime(2026, 3, 2, tzinfo=UTC)
_DAYS = 7
_SEED = 20260302
TANK = "reef"


@dataclass(frozen=True, slots=True)
class Case:
    """One recording: what goes wrong in the week, from when to when (None: to the end), and where it shows.

    `make_fault` makes it of its two instants; without one nothing goes wrong. The cause is the name.
    """

    name: str
    title: str
    make_fault: Callable[[int, int], SimulatedFault] | None = None
    failed: datetime | None = None
    repaired: datetime | None = None
    series: tuple[str, ...] = ()
    note: str = ""


def _at(day: int, hour: int, minute: int = 0) -> datetime:
    return _START + timedelta(days=day - 1, hours=hour, minutes=minute)


CASES = (
    Case("quiet", "A week of a simulated reef tank of 400 L in which nothing goes wrong"),
    Case(
        "heater_failed_off",
        "In the sixth night the heater of a simulated reef tank of 400 L fails off",
        HeaterFailedOff,
        _at(6, 2, 10),
        _at(6, 9),
        ("temperature",),
        "The heater gives no heat from here on; repaired by hand in the morning.",
    ),
    Case(
        "heater_weak",
        "In the sixth night the heater of a simulated reef tank of 400 L gives a tenth of its heat",
        lambda from_us, to_us: HeaterWeak(from_us, to_us, share=0.1),
        _at(5, 22),
        None,
        ("temperature",),
        "A tenth of the heat is left, less than the tank loses by night.",
    ),
    Case(
        "heater_stuck_on",
        "In the sixth night the heater of a simulated reef tank of 400 L sticks on",
        HeaterStuckOn,
        _at(6, 1, 25),
        _at(6, 8),
        ("temperature",),
        "Its plug is pulled in the morning.",
    ),
    Case(
        "top_off_failed",
        "On the fifth day the top-off pump of a simulated reef tank of 400 L dies",
        TopOffFailed,
        _at(5, 11),
        None,
        ("sump_level", "practical_salinity", "reservoir"),
        "4 L a day evaporate, and nothing replaces them.",
    ),
    Case(
        "top_off_overdose",
        "In the sixth night the top-off pump of a simulated reef tank of 400 L runs on",
        TopOffStuckOn,
        _at(6, 3),
        _at(6, 7),
        ("sump_level", "practical_salinity", "reservoir"),
        "12 L/h until somebody pulls its plug.",
    ),
    Case(
        "leak",
        "On the sixth day a simulated reef tank of 400 L loses 3 L/h, which its top-off replaces",
        lambda from_us, to_us: Leak(from_us, to_us, litres_per_hour=3.0),
        _at(6, 13),
        _at(6, 23),
        ("sump_level", "practical_salinity", "reservoir"),
        "A hose is loose.",
    ),
    Case(
        "probe_stuck",
        "From the fifth day on the pH probe of a simulated reef tank shows its last value",
        lambda from_us, to_us: ProbeStuck("ph", from_us, to_us),
        _at(5, 15),
        None,
        ("ph",),
    ),
    Case(
        "probe_dry",
        "On the sixth day the conductivity cell of a simulated reef tank hangs in air",
        lambda from_us, to_us: ProbeDry("practical_salinity", from_us, to_us),
        _at(6, 10),
        _at(6, 19),
        ("practical_salinity",),
    ),
    Case(
        "probe_noisy",
        "From the sixth day on the pH probe of a simulated reef tank scatters twelve times as much",
        lambda from_us, to_us: ProbeNoisy("ph", from_us, to_us, times=12.0),
        _at(6, 8),
        None,
        ("ph",),
        "Moisture in the plug of the electrode.",
    ),
    Case(
        "probe_drifting",
        "From the second day on the salinity probe of a simulated reef tank drifts by 0.3 a day",
        lambda from_us, to_us: ProbeDrifting("practical_salinity", from_us, to_us, per_day=0.3),
        _at(2, 12),
        None,
        ("practical_salinity",),
    ),
    Case(
        "probe_silent",
        "On the sixth day the temperature probe of a simulated reef tank falls silent",
        lambda from_us, to_us: ProbeSilent("temperature", from_us, to_us),
        _at(6, 4),
        _at(6, 18),
        ("temperature",),
    ),
)


def csv_text(recording: Recording) -> str:
    """The readings in wide form, one column a series, times RFC 3339 in UTC; silence leaves it empty."""
    out = io.StringIO()
    out.write(f"time,{','.join(_SERIES)}\n")
    columns = [(recording.columns[name], decimals) for name, decimals in _SERIES.items()]
    for row, time_us in enumerate(recording.times_us.tolist()):
        values = [
            f"{column[row]:.{decimals}f}" if np.isfinite(column[row]) else "" for column, decimals in columns
        ]
        out.write(f"{datetime.fromtimestamp(time_us // MICROSECONDS, UTC):%Y-%m-%dT%H:%M:%SZ},")
        out.write(f"{','.join(values)}\n")
    return out.getvalue()


def annotation_text(case: Case) -> str:
    """What truly happened, as an annotation file."""
    heading = (
        f"Annotation file of {case.name}.csv: what truly happened, known because the tank is simulated.",
    )
    found = []
    if case.failed is not None:
        to_us = None if case.repaired is None else _us(case.repaired)
        note = case.note
        if case.name == "heater_failed_off":
            first = f"{_first_needed(case):%Y-%m-%dT%H:%M:%SZ}"
            note = f"{note} The thermostat first asks for heat at {first}: until then nothing can be seen."
        found.append(Annotation(TANK, case.name, _us(case.failed), to_us, case.series, note=note))
    return annotations_text(case.title, found, heading)


def make(case: Case) -> tuple[str, str]:
    """Return the text of the recording and of its annotation file."""
    tank = _set_running(case)
    tank.advance_to(_us(_START))
    recording = tank.record(_us(_START + timedelta(days=_DAYS)), _EVERY // timedelta(microseconds=1))
    return csv_text(recording), annotation_text(case)


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
    faults: list[SimulatedFault] = []
    if case.make_fault is not None and case.failed is not None:
        end = case.repaired or _START + timedelta(days=2 * _DAYS)
        faults.append(case.make_fault(_us(case.failed), _us(end)))
    # One day before the recording starts, so that the tank has settled by then.
    return SimulatedTank(
        TankSettings(reservoir_litres=60.0, refill_every_days=0),
        seed=_SEED,
        start_us=_us(_START - timedelta(days=1)),
        faults=faults,
    )


def _first_needed(case: Case) -> datetime:
    """When the thermostat of the failed heater first asks for heat, to the minute."""
    tank = _set_running(case)
    assert case.failed is not None  # noqa: S101 - of a case with a fault
    tank.advance_to(_us(case.failed))
    while not tank.wants_heat:
        tank.advance_to(tank.now_us + _MINUTE_US)
    return datetime.fromtimestamp(tank.now_us / MICROSECONDS, UTC)


def _us(at: datetime) -> int:
    return round(at.timestamp()) * MICROSECONDS


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
