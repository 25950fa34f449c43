"""Opens the database that the configuration names; what it needs is imported only then."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Protocol

from collector.configuration import Configuration, DatabaseConfiguration
from collector.database.target import Past, Target
from collector.errors import ConfigError


class Database(Target, Past, Protocol):
    """Both ways at once."""


def open_database(configuration: DatabaseConfiguration, *, timeout_s: float | None = None) -> Database:
    """The client of a database; nothing is sent yet.

    Parameters
    ----------
    configuration
        Which one.
    timeout_s
        How long an answer may take; None for what each client thinks right.
    """
    options = {} if timeout_s is None else {"timeout_s": timeout_s}
    if configuration.api == "v1":
        from collector.database.version1 import Version1

        return Version1(configuration, **options)
    from collector.database.version2 import Version2

    return Version2(configuration, **options)


@contextmanager
def opened_past(configuration: Configuration) -> Iterator[Past]:
    """The readings that the database has.

    Raises
    ------
    ConfigError
        If none is configured.
    """
    if configuration.database is None:
        raise ConfigError("no database is configured: write [database] with its address, see `check --keys`")
    past = open_database(configuration.database)
    try:
        yield past
    finally:
        past.close()
