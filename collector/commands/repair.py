"""`brinebell repair`: take a probe out of service while you repair it, and return it to service."""

from __future__ import annotations

import argparse

from collector.commands.asking import add_what_argument, ask_and_tell, now_of_service, which
from collector.commands.configuration_argument import add_configuration_argument

SUMMARY = "take a probe out of service while it is repaired: it rings for nothing until you say `repair end`"
EXAMPLE = 'brinebell repair begin temperature --why "new cable"'


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    add_configuration_argument(parser)
    parser.add_argument(
        "step",
        choices=("begin", "end"),
        help="begin: none of its alarms rings, danger lines included, and it has no end of its own; "
        "end: what is wrong then rings",
    )
    add_what_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    """Ask the service and print its answer; 1 if it could not be done, or not yet."""
    from collector.alarm_requests import ReturnToService, TakeOutOfService
    from collector.settings import load_configuration

    configuration = load_configuration(arguments.config)
    form = TakeOutOfService if arguments.step == "begin" else ReturnToService
    asked = form(**which(arguments.what, arguments.tank, configuration), why=arguments.why)
    return ask_and_tell(configuration, asked, now_of_service(configuration))
