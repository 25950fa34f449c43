"""`brinebell import`: put recorded files, or what the database has, into the store as history."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from collector.commands.configuration_argument import add_configuration_argument
from collector.commands.replay import add_reading_arguments, form_of, instant_of

if TYPE_CHECKING:
    from collector.configuration import Configuration
    from collector.store import Store
    from collector.transfer import Account

SUMMARY = "put recorded files, or what the database has, into the store as history; it rings for nothing"
EXAMPLE = "brinebell import last-year.csv --zone Europe/Lisbon --unit temperature=degF"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    add_configuration_argument(parser)
    parser.add_argument(
        "files",
        metavar="FILE",
        nargs="*",
        type=Path,
        help="CSV, InfluxDB line protocol (.lp) or Parquet, also gzipped, or folders of them; the service "
        "must be stopped. What is there already changes nothing, and what was broken off goes on",
    )
    parser.add_argument(
        "--database",
        action="store_true",
        help="instead of files: what the time-series database of the configuration has of a span (--from, "
        "and --to if it does not end now), such as when an SD card has died",
    )
    parser.add_argument(
        "--from", dest="since", metavar="TIME", help="of the database, from 2026-03-01T00:00Z on"
    )
    parser.add_argument("--to", dest="until", metavar="TIME", help="of the database: until then")
    add_reading_arguments(parser.add_argument_group("how the files are written"))


def run(arguments: argparse.Namespace) -> int:
    """Import and say what became of the readings; 0 also where some were skipped, which is told."""
    from collector.clock import Clock
    from collector.errors import ConfigError
    from collector.settings import load_configuration
    from collector.store import Store, Upkeep

    if arguments.files and arguments.database:
        raise ConfigError("an import is of files or of the database: give one of the two")
    if not arguments.files and not arguments.database:
        raise ConfigError("say what to import: brinebell import last-year.csv, or --database --from TIME")
    configuration, now_us = load_configuration(arguments.config), Clock().now_us()
    with Store(configuration.store.path) as store:
        store.register(configuration.series)
        take = _of_database if arguments.database else _of_files
        take(store, arguments, configuration, now_us)
        _tell("Rolling them up for charts of long spans ...")
        Upkeep(store).catch_up(now_us)
    return 0


def _of_files(store: Store, arguments: argparse.Namespace, configuration: Configuration, now_us: int) -> None:
    from tqdm import tqdm

    from collector.errors import ConfigError
    from collector.payloads import state_value
    from collector.recordings import files_of
    from collector.transfer import import_file
    from collector.units import converter

    if arguments.since is not None or arguments.until is not None:
        raise ConfigError("--from and --to go with --database: a file is imported as a whole")
    paths, form = list(files_of(arguments.files)), form_of(arguments)
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
        _tell_account(str(path), account)


def _of_database(
    store: Store, arguments: argparse.Namespace, configuration: Configuration, now_us: int
) -> None:
    from tqdm import tqdm

    from collector.database import opened_past
    from collector.errors import ConfigError
    from collector.transfer import import_database

    if arguments.since is None:
        raise ConfigError("--database needs --from: such as --from 2026-03-01T00:00Z")
    since_us = instant_of(arguments.since, "--from")
    until_us = now_us if arguments.until is None else instant_of(arguments.until, "--to")
    if since_us >= min(until_us, now_us):
        raise ConfigError(f"--from {arguments.since} is not before the end: give an earlier one")
    with (
        opened_past(configuration) as past,
        tqdm(desc="Asking the database", unit=" days", disable=None, leave=False) as bar,
    ):

        def tell(done: int, total: int) -> None:
            bar.total = total
            bar.update(done - bar.n)

        refilled = import_database(store, past, configuration, (since_us, until_us), now_us, tell)
    if refilled.begun_us > since_us:
        _tell(f"An earlier run had come to {_utc(refilled.begun_us)}: this one went on from there.")
    for one, count in zip(configuration.series, refilled.counts, strict=True):
        if not count:
            _tell(f"the database has nothing of {one.tank}/{one.name} in that time")
    _tell_account("The database", refilled.account)


def _tell_account(origin: str, account: Account) -> None:
    from collector.store import CONFLICTS_KEPT

    if account.no_time:
        _tell(f"skipped {account.no_time:,}: {origin}: from before the year 2000, or from the future")
    there = account.known + account.before
    print(f"{origin}: {account.new:,} readings are new, {there:,} were there already.")
    if account.older:
        print(
            f"{account.older:,} more are older than what service.keep_readings keeps: of these there are "
            "minutes and quarter hours."
        )
    if account.conflicts:
        _tell(
            f"{account.conflicts:,} more have another value in the store, which stays; "
            f"these are conflicts, of which {2 * CONFLICTS_KEPT} a series and day are kept beside it."
        )


def _utc(at_us: int) -> str:
    from datetime import UTC, datetime

    from rules import MICROSECONDS

    return f"{datetime.fromtimestamp(at_us // MICROSECONDS, UTC):%Y-%m-%dT%H:%MZ}"


def _tell(line: str) -> None:
    """Say something beside the result, which alone goes to standard output."""
    print(line, file=sys.stderr)
