"""Starts the mirror of the database that the configuration names, if it names one."""

from __future__ import annotations

from contextlib import ExitStack

from collector.clock import Clock
from collector.configuration import Configuration
from collector.database import open_database
from collector.mirror.worker import MirrorWorker
from collector.store import MirrorCursor


def start_mirror(configuration: Configuration, clock: Clock, stack: ExitStack) -> MirrorWorker | None:
    """The running worker, which `stack` ends; None where no database is configured.

    The store must have been opened, and its series registered.
    """
    database, path = configuration.database, configuration.store.path
    if database is None:
        return None
    worker = MirrorWorker(
        lambda: MirrorCursor(path, database.identity),
        lambda: open_database(database),
        clock=clock,
        interval_s=database.interval_s,
    )
    return stack.enter_context(worker)
