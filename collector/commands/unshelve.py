"""`brinebell unshelve`: end a shelving before its time."""

from __future__ import annotations

import argparse

from collector.commands.asking import add_what_argument, ask_and_tell, now_of_service, which
from collector.commands.configuration_argument import add_configuration_argument

SUMMARY = "end a shelving before its time: what is still wrong rings at once"
EXAMPLE = "brinebell unshelve 12"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    add_configuration_argument(parser)
    add_what_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    """Ask the service and print its answer; 1 if it could not be done, or not yet."""
    from collector.alarm_requests import Unshelve
    from collector.settings import load_configuration

    configuration = load_configuration(arguments.config)
    asked = Unshelve(**which(arguments.what, arguments.tank, configuration), why=arguments.why)
    return ask_and_tell(configuration, asked, now_of_service(configuration))
