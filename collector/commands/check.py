"""`brinebell check`: is everything as it must be, and if not, how is it mended?"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from collector.commands.configuration_argument import add_configuration_argument

if TYPE_CHECKING:
    from collections.abc import Iterator

    from collector.checks import Finding
    from collector.settings import Loaded

SUMMARY = (
    "check configuration, broker, clock, store, boards, database, delivery, page, and say how to mend them"
)
EXAMPLE = "brinebell check --config brinebell.toml --ring"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    add_configuration_argument(parser)
    parser.add_argument("--ring", action="store_true", help="send a test message over every channel")
    documents = parser.add_mutually_exclusive_group()
    documents.add_argument(
        "--keys",
        action="store_true",
        help="print every key of the configuration with unit, default and meaning",
    )
    documents.add_argument(
        "--example", action="store_true", help="print a commented example configuration, to start from"
    )


def run(arguments: argparse.Namespace) -> int:
    """Print findings as they are made; 1 if something is wrong."""
    from collector.checks import Verdict
    from collector.settings import example_text, keys_text, read_configuration

    if arguments.keys or arguments.example:
        print(keys_text() if arguments.keys else example_text(), end="\n" if arguments.keys else "")
        return 0
    wrong = 0
    for finding in _findings(read_configuration(arguments.config), is_ringing=arguments.ring):
        wrong += finding.verdict is Verdict.WRONG
        print("\n".join(finding.lines()), flush=True)
    print(
        "Nothing is wrong." if not wrong else f"{wrong} {'thing is' if wrong == 1 else 'things are'} wrong."
    )
    return 1 if wrong else 0


def _count(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"


def _findings(loaded: Loaded, *, is_ringing: bool) -> Iterator[Finding]:
    from collector.checks import Finding, Verdict
    from collector.checks.boards import check_boards
    from collector.checks.broker import check_broker
    from collector.checks.channels import check_channels
    from collector.checks.clock import check_clock
    from collector.checks.database import check_database
    from collector.checks.delivery import check_delivery
    from collector.checks.heat import check_heat
    from collector.checks.night import check_night
    from collector.checks.page import check_page
    from collector.checks.reach import check_reach
    from collector.checks.store import check_store
    from collector.checks.usual import check_usual
    from collector.clock import Clock
    from collector.commands.asking import now_of_service

    configuration = loaded.configuration
    counts = ", ".join(
        (
            _count(len(configuration.tanks), "tank", "tanks"),
            _count(len(configuration.series), "series", "series"),
            _count(len(configuration.sources), "source", "sources"),
            _count(len(configuration.boards), "board", "boards"),
        )
    )
    yield Finding("configuration", Verdict.WELL, f"{loaded.origin} can be read: {counts}")
    for warning in loaded.warnings:
        yield Finding("configuration", Verdict.NOTE, warning)
    yield from check_broker(configuration.mqtt)
    yield from check_clock(configuration)
    yield from check_store(configuration.store)
    yield from check_database(configuration)
    yield from check_boards(configuration, now_of_service(configuration))
    yield from check_usual(configuration)
    yield from check_heat(configuration)
    yield from check_delivery(configuration, is_ringing=is_ringing)
    yield from check_channels(configuration)
    yield from check_night(configuration, Clock().now_us())
    yield from check_page(configuration.page)
    yield from check_reach(configuration)
