"""`brinebell reset`: let go of an alarm that is latched."""

from __future__ import annotations

import argparse

from collector.commands.asking import add_what_argument, ask_and_tell, now_of_service, which
from collector.commands.configuration_argument import add_configuration_argument

SUMMARY = "let go of an alarm that latches: its condition is gone, and you have looked into it"
EXAMPLE = "brinebell reset floor_contact"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    add_configuration_argument(parser)
    add_what_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    """Ask the service and print its answer; 1 if it could not be done, or not yet."""
    from collector.alarm_requests import Reset
    from collector.settings import load_configuration

    configuration = load_configuration(arguments.config)
    asked = Reset(**which(arguments.what, arguments.tank, configuration), why=arguments.why)
    return ask_and_tell(configuration, asked, now_of_service(configuration))
