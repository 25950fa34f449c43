"""`brinebell demo`: the whole job on this machine, without hardware."""

from __future__ import annotations

import argparse
from pathlib import Path

SUMMARY = "show the whole job on a simulated tank: readings arrive, a heater fails at night, it rings"
EXAMPLE = "brinebell demo --rate 240"

_DEFAULT_RATE = 120.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument(
        "--folder",
        type=Path,
        default=Path("brinebell-demo"),
        metavar="FOLDER",
        help="where the demo keeps its store, a folder of its own (default: %(default)s)",
    )
    parser.add_argument(
        "--rate",
        type=_rate,
        default=_DEFAULT_RATE,
        metavar="N",
        help="tank seconds for each second of yours (default: %(default)g)",
    )
    parser.add_argument(
        "--port", type=_port, metavar="PORT", help="port of the demo's page; a free one if not given"
    )


def run(arguments: argparse.Namespace) -> int:
    """Run it until Ctrl-C."""
    from collector.demo import main

    return main(arguments.folder, arguments.rate, arguments.port)


def _rate(text: str) -> float:
    try:
        rate = float(text)
    except ValueError:
        rate = 0.0
    # Faster than a day in a minute and a half, boards and service no longer keep up with the tank.
    if not 0 < rate <= 1000:
        raise argparse.ArgumentTypeError(f"{text!r} is no rate: a number above 0 and up to 1000 is needed")
    return rate


def _port(text: str) -> int:
    port = int(text) if text.isascii() and text.isdecimal() else 0
    if not 1 <= port <= 65_535:
        raise argparse.ArgumentTypeError(f"{text!r} is no port: a whole number from 1 to 65535 is needed")
    return port
