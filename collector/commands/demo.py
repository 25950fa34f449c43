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
        help="where the demo keeps its store, its own, emptied by each run (default: %(default)s)",
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
    parser.add_argument("--no-page", action="store_true", help="serve no page, only this terminal")
    parser.add_argument(
        "--broker",
        # Those of `collector.demo.broker.KINDS`, which is not imported for a help text.
        choices=("auto", "mosquitto", "amqtt"),
        default="auto",
        help="the broker to start: mosquitto where it is installed, else amqtt (default: %(default)s)",
    )
    parser.add_argument(
        "--once",
        action="store_true",
        help="end by itself when the failure was recognised and the phone has rung; status 1 if it was not",
    )
    parser.add_argument("--minutes", type=_minutes, metavar="N", help="end by itself after N of your minutes")


def run(arguments: argparse.Namespace) -> int:
    """Run it until Ctrl-C, or as long as was asked for."""
    from collector.demo.main import Options, run

    return run(
        Options(
            folder=arguments.folder,
            rate=arguments.rate,
            port=arguments.port,
            has_page=not arguments.no_page,
            broker=arguments.broker,
            once=arguments.once,
            minutes=arguments.minutes,
        )
    )


def _rate(text: str) -> float:
    rate = _number(text)
    # Faster than a day in a minute and a half, boards and service no longer keep up with the tank.
    if not 0 < rate <= 1000:
        raise argparse.ArgumentTypeError(f"{text!r} is no rate: a number above 0 and up to 1000 is needed")
    return rate


def _minutes(text: str) -> float:
    minutes = _number(text)
    if not 0 < minutes <= 10_000:
        raise argparse.ArgumentTypeError(f"{text!r}: a number of minutes above 0 is needed, such as 5")
    return minutes


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return 0.0


def _port(text: str) -> int:
    port = int(text) if text.isascii() and text.isdecimal() else 0
    if not 1 <= port <= 65_535:
        raise argparse.ArgumentTypeError(f"{text!r} is no port: a whole number from 1 to 65535 is needed")
    return port
