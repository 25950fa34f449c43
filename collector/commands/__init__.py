"""The commands of `brinebell`, one module each, imported when its command is given.

A command module has `SUMMARY` and `EXAMPLE` for its help, `add_arguments(parser)`, and
`run(arguments) -> int`, the exit status. It imports what it needs within `run`, so that no command pays
for another's libraries.
"""

from __future__ import annotations

import argparse
from importlib import import_module
from keyword import iskeyword
from typing import Protocol, cast

# In the order in which the help lists them: as a newcomer meets them.
NAMES = (
    "demo",
    "check",
    "run",
    "password",
    "work",
    "incidents",
    "acknowledge",
    "shelve",
    "unshelve",
    "reset",
    "repair",
    "backup",
    "restore",
    "import",
    "export",
    "replay",
    "inject",
    "tune",
    "causes",
    "version",
)


class Command(Protocol):
    """What every command module has."""

    SUMMARY: str
    EXAMPLE: str

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        """Declare the command's arguments."""
        ...

    def run(self, arguments: argparse.Namespace) -> int:
        """Do it and return the exit status."""
        ...


def load(name: str) -> Command:
    """Import the module of a command of `NAMES`."""
    module = f"{name}_" if iskeyword(name) else name
    return cast(Command, import_module(f"{__name__}.{module}"))
