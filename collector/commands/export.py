"""`brinebell export`: write recorded readings into a file that other programs read."""

from __future__ import annotations

import argparse
from pathlib import Path

from collector.commands.configuration_argument import add_configuration_argument

SUMMARY = "write recorded readings into a CSV, Parquet or line protocol file, while the service runs"
EXAMPLE = "brinebell export march.csv.gz --series temperature --from 2026-03-01T00:00Z --to 2026-04-01T00:00Z"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    add_configuration_argument(parser)
    parser.add_argument(
        "target",
        metavar="FILE",
        type=Path,
        help="where to; .csv, .csv.gz, .parquet, .lp (InfluxDB line protocol) or .lp.gz says in which form. "
        "Nothing is overwritten",
    )
    parser.add_argument(
        "--series",
        action="append",
        default=[],
        metavar="NAME",
        help="only this series, such as temperature or reef/ph; may be given several times",
    )
    parser.add_argument("--from", dest="since", metavar="TIME", help="from 2026-03-01T00:00Z on")
    parser.add_argument("--to", dest="until", metavar="TIME", help="until then")


def run(arguments: argparse.Namespace) -> int:
    """Write the file and say how much is in it."""
    from tqdm import tqdm

    from collector.commands.replay import instant_of
    from collector.settings import load_configuration
    from collector.store import StoreReader
    from collector.transfer import Asked, export

    configuration = load_configuration(arguments.config)
    asked = Asked(
        arguments.series,
        None if arguments.since is None else instant_of(arguments.since, "--from"),
        None if arguments.until is None else instant_of(arguments.until, "--to"),
    )
    with (
        StoreReader(configuration.store.path) as reader,
        tqdm(total=100, unit="%", disable=None, leave=False) as bar,
    ):
        count = export(reader, arguments.target, asked, lambda share: bar.update(round(100 * share) - bar.n))
    print(f"{arguments.target} holds {count:,} readings, in canonical units.")
    return 0
