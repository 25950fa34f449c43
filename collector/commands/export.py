"""`brinebell export`: write recorded readings into a file that other programs read."""

from __future__ import annotations

import argparse
from contextlib import nullcontext
from pathlib import Path

from collector.commands.configuration_argument import add_configuration_argument

SUMMARY = (
    "write recorded readings into a CSV, Parquet or line protocol file, while the service runs; "
    "broken off, the same command goes on"
)
EXAMPLE = "brinebell export march.csv.gz --series temperature --from 2026-03-01T00:00Z --to 2026-04-01T00:00Z"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    add_configuration_argument(parser)
    parser.add_argument(
        "target",
        metavar="FILE",
        type=Path,
        help="where to; .csv, .csv.gz, .parquet, .lp (InfluxDB line protocol) or .lp.gz says in which form. "
        "Nothing is overwritten, and FILE appears when it is whole. Until then FILE.part grows day by day, "
        "with a note in FILE.part.days: broken off by a kill, a power cut or a full disk, the same command "
        "looks through the days that are there, goes on behind them, and ends in the same file as unbroken. "
        "What the store has let go (service.keep_readings) is read from the database, if [database] names it",
    )
    parser.add_argument(
        "--series",
        action="append",
        default=[],
        metavar="NAME",
        help="only this series, such as temperature or reef/ph; may be given several times",
    )
    parser.add_argument("--from", dest="since", metavar="TIME", help="from 2026-03-01T00:00Z on")
    parser.add_argument(
        "--to",
        dest="until",
        metavar="TIME",
        help="until then; otherwise until where the record ends when the export is begun",
    )


def run(arguments: argparse.Namespace) -> int:
    """Write the file and say how much is in it."""
    from tqdm import tqdm

    from collector.account import rfc3339
    from collector.commands.replay import instant_of
    from collector.database import opened_past
    from collector.settings import load_configuration
    from collector.store import StoreReader
    from collector.transfer import Asked, export

    configuration = load_configuration(arguments.config)
    asked = Asked(
        arguments.series,
        None if arguments.since is None else instant_of(arguments.since, "--from"),
        None if arguments.until is None else instant_of(arguments.until, "--to"),
    )
    past = nullcontext() if configuration.database is None else opened_past(configuration)
    with (
        past as older,
        StoreReader(configuration.store.path, older) as reader,
        tqdm(total=100, unit="%", disable=None, leave=False) as bar,
    ):
        done = export(reader, arguments.target, asked, lambda share: bar.update(round(100 * share) - bar.n))
    print(f"{arguments.target} holds {done.count:,} readings, in canonical units.")
    if done.lacks:
        print(f"Days of which it lacks readings: {len(done.lacks)}. {done.lacks[0]}.")
    if done.cut_off:
        print(f"Days that were not as a broken off export had left them, written anew: {done.cut_off}.")
    if done.before:
        print(
            f"{done.before:,} of them were there from an export that was broken off; "
            f"the file ends at {rfc3339(done.to_us)}, as was settled when it was begun."
        )
    return 0
