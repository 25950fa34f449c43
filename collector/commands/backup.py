"""`brinebell backup`: copy the store as it is now into one file, while the service runs."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from collector.commands.configuration_argument import add_configuration_argument

SUMMARY = "copy all that is recorded into one file, while the service runs"
EXAMPLE = "brinebell backup /media/stick"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments."""
    add_configuration_argument(parser)
    parser.add_argument(
        "target",
        metavar="FILE",
        type=Path,
        help="where to, best on another disk; in a folder it gets a name with the time. Nothing is "
        "overwritten, and the file is readable by you alone",
    )


def run(arguments: argparse.Namespace) -> int:
    """Make the copy and say where it is."""
    from collector.clock import Clock
    from collector.settings import load_configuration
    from collector.store import back_up
    from rules import MICROSECONDS

    configuration = load_configuration(arguments.config)
    target: Path = arguments.target
    if target.is_dir():
        from datetime import UTC, datetime

        at = datetime.fromtimestamp(Clock().now_us() // MICROSECONDS, UTC)
        target /= f"brinebell-{at:%Y%m%dT%H%M%SZ}.sqlite"
    with Bar("Copying") as bar:
        back_up(configuration.store.path, target, bar.tell)
    size = target.stat().st_size
    print(
        f"{target} holds all that was recorded until now, {max(1, size // 10**6):,} MB, and is sound. "
        "The configuration is a file of its own: keep a copy of that, too."
    )
    return 0


class Bar:
    """Shows how much of the pages of a store is done."""

    def __init__(self, what: str) -> None:
        from tqdm import tqdm

        self._bar = tqdm(desc=what, unit="B", unit_scale=4096, disable=None, leave=False)

    def __enter__(self) -> Bar:
        return self

    def __exit__(self, *exc_info: object) -> None:
        self._bar.close()

    def tell(self, done: int, total: int) -> None:
        """Show progress; behind the last page comes a look through all of them."""
        self._bar.total = total
        self._bar.update(done - self._bar.n)
        if done == total:
            print("Looking through the copy ...", file=sys.stderr)
