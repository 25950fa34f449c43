"""`brinebell acknowledge`: say that you have seen an incident and see to it."""

from __future__ import annotations

import argparse

from collector.commands.asking import add_what_argument, ask_and_tell, now_of_service, which
from collector.commands.configuration_argument import add_configuration_argument

SUMMARY = "say that you have seen an incident and see to it: it stops ringing, and nobody else is told"
EXAMPLE = "brinebell acknowledge 12; after a test ring: brinebell acknowledge test"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    add_configuration_argument(parser)
    add_what_argument(parser)
    parser.add_argument("--person", default="", metavar="NAME", help="whose test ring it was, of several")


def run(arguments: argparse.Namespace) -> int:
    """Ask the service and print its answer; 1 if it could not be done, or not yet."""
    from collector.alarm_requests import Acknowledge, AnswerTestRing
    from collector.errors import ConfigError
    from collector.settings import load_configuration
    from collector.settings.suggestions import instead_of

    configuration = load_configuration(arguments.config)
    now_us = now_of_service(configuration)
    if arguments.what == "test":
        known = [one.name for one in configuration.people]
        if arguments.person and arguments.person not in known:
            raise ConfigError(
                f"there is no person {arguments.person!r}: {instead_of(arguments.person, known)}"
            )
        return ask_and_tell(configuration, AnswerTestRing(person=arguments.person), now_us)
    asked = Acknowledge(**which(arguments.what, arguments.tank, configuration), why=arguments.why)
    return ask_and_tell(configuration, asked, now_us)
