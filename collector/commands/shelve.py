"""`brinebell shelve`: put an alarm off for a while; it comes back by itself."""

from __future__ import annotations

import argparse

from collector.commands.asking import add_what_argument, ask_and_tell, now_of_service, which
from collector.commands.configuration_argument import add_configuration_argument

SUMMARY = "put an incident off for an hour or until morning; it rings again then, or sooner if it gets worse"
EXAMPLE = 'brinebell shelve 12 --for "1 h"'


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    add_configuration_argument(parser)
    add_what_argument(parser)
    how_long = parser.add_mutually_exclusive_group()
    how_long.add_argument(
        "--for", dest="lasts", default="1 h", metavar="DURATION", help="a day at most; default: 1 h"
    )
    how_long.add_argument(
        "--until-morning", action="store_true", help="until the end of the first person's night"
    )


def run(arguments: argparse.Namespace) -> int:
    """Ask the service and print its answer; 1 if it could not be done, or not yet."""
    from collector.alarm_requests import Shelve
    from collector.settings import load_configuration
    from collector.units import parse_duration

    configuration = load_configuration(arguments.config)
    now_us = now_of_service(configuration)
    until_us = None if arguments.until_morning else now_us + parse_duration(arguments.lasts)
    asked = Shelve(
        **which(arguments.what, arguments.tank, configuration), why=arguments.why, until_us=until_us
    )
    return ask_and_tell(configuration, asked, now_us)
