"""The command line: `brinebell COMMAND`, what it answers to bad input, and its exit statuses.

0 is well, 1 is that something outside refused or a check found something wrong, 2 is that the operator
has to change a file or the command. A traceback is a bug of ours, and only that.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence

from collector import commands
from collector.errors import BrinebellError, ConfigError

WELL = 0
REFUSED = 1
TO_BE_CHANGED = 2
# 128 and the number of the signal, as shells say it.
INTERRUPTED = 130

_DESCRIPTION = "Watches a reef tank's probes over MQTT, tells a failure early, and rings once."


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command; return its exit status."""
    given = list(sys.argv[1:] if argv is None else argv)
    arguments = make_parser(given).parse_args(given)
    try:
        status: int = arguments.run(arguments)
        # What is printed leaves now, so that a closed pipe is met here and not while Python ends.
        sys.stdout.flush()
    except ConfigError as error:
        _tell(error)
        return TO_BE_CHANGED
    except BrinebellError as error:
        _tell(error)
        return REFUSED
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:
        # The reader of our output (head, less) has seen enough.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return WELL
    return status


def make_parser(given: Sequence[str]) -> argparse.ArgumentParser:
    """The parser of all commands; only the command that is given, if any, is imported."""
    parser = argparse.ArgumentParser(
        prog="brinebell",
        description=_DESCRIPTION,
        epilog="`brinebell COMMAND --help` tells what a command takes, with an example.",
    )
    subparsers = parser.add_subparsers(metavar="COMMAND", required=True)
    wanted = next((one for one in given if not one.startswith("-")), None)
    for name in (wanted,) if wanted in commands.NAMES else commands.NAMES:
        command = commands.load(name)
        subparser = subparsers.add_parser(
            name,
            help=command.SUMMARY,
            description=f"{command.SUMMARY[:1].upper()}{command.SUMMARY[1:]}.",
            epilog=f"example: {command.EXAMPLE}",
        )
        command.add_arguments(subparser)
        subparser.set_defaults(run=command.run)
    return parser


def _tell(error: BrinebellError) -> None:
    print(f"brinebell: {error}", file=sys.stderr)  # noqa: T201 - the command line answers


if __name__ == "__main__":
    sys.exit(main())
