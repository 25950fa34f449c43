"""`brinebell inject`: what a recorded week would have been, had something failed in it."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from collector.commands.replay import add_reading_arguments, recording_of

if TYPE_CHECKING:
    from collector.configuration import Configuration
    from collector.injection import How

EXAMPLE = (
    "brinebell inject week.csv --config brinebell.toml --cause heater_failed_off"
    " --at 2026-03-07T02:10Z --for '6 h' --out rehearsal"
)
SUMMARY = "put a computed fault into a recorded week, to see how early it would ring"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument(
        "files", metavar="FILE", nargs="*", type=Path, help="as `brinebell replay` takes them"
    )
    parser.add_argument(
        "--config", type=Path, metavar="FILE", help="configuration; without it the shipped example is used"
    )
    parser.add_argument("--list", action="store_true", help="list the faults that can be computed, and stop")
    parser.add_argument("--cause", help="which of them")
    parser.add_argument("--at", metavar="TIME", help="when it begins: 2026-03-07T02:10Z")
    parser.add_argument(
        "--for", dest="lasts", metavar="DURATION", help="until it is repaired; else to the end"
    )
    parser.add_argument("--size", help="how large: '3 L/h', '0.05 pH/day', '10 %%'; each has a usual one")
    parser.add_argument("--series", default="", metavar="NAME", help="of which probe, for faults of probes")
    parser.add_argument("--tank", metavar="NAME", help="needed only where there are several")
    parser.add_argument(
        "--unheated",
        metavar="TEMPERATURE",
        help="to which the water would sink without heater: '20 degC'; that of the room if not given",
    )
    parser.add_argument(
        "--litre-raises", metavar="HEIGHT", help="by how much a litre raises the level: '0.56 cm'"
    )
    parser.add_argument("--limewater", action="store_true", help="the top-off gives limewater")
    parser.add_argument(
        "--out", type=Path, metavar="FOLDER", help="where recording and annotation file go (CAUSE)"
    )
    add_reading_arguments(parser.add_argument_group("how the files are written"))


def run(arguments: argparse.Namespace) -> int:
    """Compute, and write both files."""
    from collector.annotations import annotations_text
    from collector.errors import ConfigError
    from collector.injection import KINDS, inject
    from collector.recordings import csv_text
    from collector.settings import load_configuration

    if arguments.list:
        width = max(map(len, KINDS))
        for cause, kind in KINDS.items():
            size = f" (--size {kind.example!r})" if kind.example else ""
            print(f"{cause:{width}}  {kind.what}{size}")
        return 0
    if not arguments.files or not arguments.cause or not arguments.at:
        raise ConfigError(f"say in which recording, which fault, and when: {EXAMPLE}")
    configuration = load_configuration(arguments.config)
    how = _how(arguments, configuration)
    recording = recording_of(arguments.files, arguments, configuration)
    made, annotation = inject(recording, configuration, how)
    folder = arguments.out or Path(how.cause)
    folder.mkdir(parents=True, exist_ok=True)
    names = ", ".join(path.name for path in arguments.files)
    title = f"{how.cause} of {how.tank}, computed into {names}"
    paths = folder / f"{how.cause}.csv", folder / f"{how.cause}.annotations.toml"
    for path, text in zip(
        paths,
        (
            csv_text(made, configuration),
            annotations_text(title, [annotation], [f"What is wrong in {paths[0].name}."]),
        ),
        strict=True,
    ):
        path.write_text(text, encoding="utf-8")
        print(path)
    which = "" if arguments.config is None else f" --config {arguments.config}"
    sys.stderr.write(f"See what rings: brinebell replay {paths[0]}{which} --truth {paths[1]}\n")
    return 0


def _how(arguments: argparse.Namespace, configuration: Configuration) -> How:
    from collector.commands.asking import tank_name
    from collector.commands.replay import instant_of
    from collector.errors import ConfigError
    from collector.injection import KINDS, How
    from collector.settings.suggestions import instead_of
    from collector.units import parse_duration, parse_quantity

    tank = tank_name(arguments.tank, configuration)
    kind = KINDS.get(arguments.cause)
    if kind is None:
        raise ConfigError(
            f"--cause {arguments.cause!r} cannot be computed; {instead_of(arguments.cause, KINDS)}"
        )
    quantities = {one.name: one.quantity for one in configuration.series if one.tank == tank}
    from_us = instant_of(arguments.at, "--at")
    size = float("nan")
    if arguments.size is not None:
        size = kind.size_of(arguments.size, quantities.get(arguments.series, ""))
    return How(
        arguments.cause,
        tank,
        from_us,
        None if arguments.lasts is None else from_us + parse_duration(arguments.lasts),
        size,
        arguments.series,
        None if arguments.unheated is None else parse_quantity(arguments.unheated, "temperature"),
        None
        if arguments.litre_raises is None
        else parse_quantity(arguments.litre_raises, "water_level", difference=True),
        arguments.limewater,
    )
