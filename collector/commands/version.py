"""`brinebell version`: which Brinebell, Python and libraries these are, for a report of a fault."""

from __future__ import annotations

import argparse

SUMMARY = "print the versions of Brinebell, Python and the libraries that matter"
EXAMPLE = "brinebell version"

_LIBRARIES = (
    "paho-mqtt",
    "apprise",
    "numpy",
    "pandas",
    "statsmodels",
    "gsw",
    "pint",
    "pydantic",
    "pydantic-settings",
    "starlette",
    "uvicorn",
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's arguments: none."""


def run(arguments: argparse.Namespace) -> int:  # noqa: ARG001
    """Print one version a line, read from what is installed without importing it."""
    import platform
    import sqlite3
    from importlib.metadata import PackageNotFoundError, version

    print(f"brinebell {version('brinebell')}")
    print(f"Python {platform.python_version()} on {platform.system()} {platform.machine()}")
    print(f"SQLite {sqlite3.sqlite_version}")
    for library in _LIBRARIES:
        try:
            print(f"{library} {version(library)}")
        except PackageNotFoundError:
            print(f"{library} is not installed")
    return 0
