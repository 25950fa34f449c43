"""`brinebell restore`: put a backup in the place of the store; what was there is kept."""

from __future__ import annotations

import argparse
from pathlib import Path

from collector.commands.configuration_argument import add_configuration_argument

SUMMARY = "put a backup in the place of what is recorded, which is kept under another name"
EXAMPLE = "brinebell restore /media/stick/brinebell-20260301T040000Z.sqlite"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    add_configuration_argument(parser)
    parser.add_argument(
        "source", metavar="FILE", type=Path, help="what `brinebell backup` wrote; the service must be stopped"
    )


def run(arguments: argparse.Namespace) -> int:
    """Restore, and say where the store before it is."""
    from collector.clock import Clock
    from collector.commands.backup import Bar
    from collector.settings import load_configuration
    from collector.store import restore

    configuration = load_configuration(arguments.config)
    path = configuration.store.path
    with Bar("Restoring") as bar:
        kept = restore(path, arguments.source, Clock().now_us(), bar.tell)
    print(f"{path} is what {arguments.source} holds: sound, and ready for `brinebell run`.")
    if kept is not None:
        print(f"What was there before is kept as {kept}; delete it when you need it no more.")
    return 0
