"""A real recording for replays: the sea surface temperatures that a public package brings along.

Run `python -m collector.recordings.sea_surface`. It needs the package bokeh-sampledata (BSD-3-Clause), from
any Python package index; the series is that of its module `sea_surface_temperature`, half-hourly over more
than a year, by its documentation from the NERACOOS station B01, free to use and redistribute. It is no
aquarium: it has a season and a day, and no heater.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

SERIES = "temperature"
HEADING = (
    "Sea surface temperature, degC, half-hourly: the series sea_surface_temperature of the Python package",
    "bokeh-sampledata, by its documentation observed at the NERACOOS station B01, dataset B01_sbe37_all,",
    "free to use and redistribute. Written by python -m collector.recordings.sea_surface",
)


def csv_text() -> str:
    """The series as a wide CSV file with its provenance on top.

    Raises
    ------
    ImportError
        If the package is not installed.
    """
    from bokeh_sampledata.sea_surface_temperature import sea_surface_temperature

    lines = [*(f"# {line}" for line in HEADING), f"time,{SERIES}"]
    column = sea_surface_temperature["temperature"]
    lines += [f"{at:%Y-%m-%dT%H:%M:%SZ},{value:.3f}" for at, value in column.items() if value == value]
    return "\n".join(lines) + "\n"


def main(arguments: Sequence[str] | None = None) -> int:
    """Write it."""
    parser = argparse.ArgumentParser(
        prog="python -m collector.recordings.sea_surface",
        description="Write a real year of sea surface temperatures, which a public package brings, as CSV.",
        epilog="example: python -m collector.recordings.sea_surface --out sea.csv",
    )
    parser.add_argument(
        "--out", type=Path, default=Path("sea_surface.csv"), help="where to (sea_surface.csv)"
    )
    path = parser.parse_args(arguments).out
    try:
        text = csv_text()
    except ImportError:
        sys.stderr.write("The package bokeh-sampledata is missing: pip install bokeh-sampledata\n")
        return 1
    path.write_text(text, encoding="utf-8")
    sys.stdout.write(f"{path}: {text.count(chr(10)) - len(HEADING) - 1:,} readings\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
