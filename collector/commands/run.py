"""`brinebell run`: the service."""

from __future__ import annotations

import argparse

from collector.commands.configuration_argument import add_configuration_argument

SUMMARY = "run the service: take in readings, judge them, ring, and serve the page; SIGHUP rereads the rules"
EXAMPLE = "brinebell run --config /etc/brinebell/brinebell.toml"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    add_configuration_argument(parser)
    parser.add_argument(
        "--verbose", action="store_true", help="log what is done as well, not only what is off"
    )


def run(arguments: argparse.Namespace) -> int:
    """Serve until the system or the keyboard says stop."""
    import logging

    from collector.journal import start_logging
    from collector.settings import read_configuration

    start_logging(is_verbose=arguments.verbose)
    loaded = read_configuration(arguments.config)
    log = logging.getLogger(__name__)
    for warning in loaded.warnings:
        log.warning("%s", warning)
    if not any(person.urls for person in loaded.configuration.people):
        log.warning(
            "nobody would be told of anything: no person has a channel; write [people.keeper] with a "
            "urls_file that holds one apprise URL a line"
        )

    from collector.serving import serve

    return serve(loaded.configuration, reread=lambda: read_configuration(arguments.config).configuration)
