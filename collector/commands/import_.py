"""`brinebell import`: put recorded files into the store as history."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from collector.commands.configuration_argument import add_configuration_argument
from collector.commands.replay import add_reading_arguments, form_of

SUMMARY = "put recorded files into the store as history: for charts and what is usual, it rings for nothing"
EXAMPLE = "brinebell import last-year.csv --zone Europe/Lisbon --unit temperature=degF"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    add_configuration_argument(parser)
    parser.add_argument(
        "files",
        metavar="FILE",
        nargs="+",
        type=Path,
        help="CSV, InfluxDB line protocol (.lp) or Parquet, also gzipped, or folders of them; the service "
        "must be stopped. What is there already changes nothing, and what was broken off goes on",
    )
    add_reading_arguments(parser.add_argument_group("how the files are written"))


def run(arguments: argparse.Namespace) -> int:
    """Import and say what became of the readings; 0 also where some were skipped, which is told."""
    from tqdm import tqdm

    from collector.clock import Clock
    from collector.payloads import state_value
    from collector.recordings import files_of
    from collector.settings import load_configuration
    from collector.store import Store, Upkeep
    from collector.transfer import import_file
    from collector.units import converter

    configuration = load_configuration(arguments.config)
    paths, form, now_us = list(files_of(arguments.files)), form_of(arguments), Clock().now_us()
    with Store(configuration.store.path) as store:
        store.register(configuration.series)
        for path in paths:
            _tell(f"Reading {path}")
            with tqdm(unit=" readings", unit_scale=True, disable=None, leave=False) as bar:

                def tell(done: int, total: int, bar: tqdm[int] = bar) -> None:
                    bar.total = total
                    bar.update(done - bar.n)

                recording, account = import_file(
                    store, path, configuration, converter, state_value, form, now_us, tell
                )
            for skipped in recording.skipped:
                _tell(f"skipped {skipped.count}: {skipped.where}: {skipped.reason}")
            if account.no_time:
                _tell(f"skipped {account.no_time:,}: {path}: from before the year 2000, or from the future")
            if account.let_go:
                _tell(f"skipped {account.let_go:,}: {path}: older than what service.keep_readings keeps")
            there = account.known + account.before
            print(f"{path}: {account.new:,} readings are new, {there:,} were there already.")
            if account.conflicts:
                _tell(
                    f"{account.conflicts:,} more have another value in the store, which stays; "
                    "these are kept beside it as conflicts."
                )
        _tell("Rolling them up for charts of long spans ...")
        Upkeep(store).catch_up(now_us)
    return 0


def _tell(line: str) -> None:
    """Say something beside the result, which alone goes to standard output."""
    print(line, file=sys.stderr)
