"""How connections that write are opened, and the one form that a transaction has."""

from __future__ import annotations

import errno
import fcntl
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from collector.errors import DiskError, StoreError

# FULL: a commit that returned survives a power cut (SQLite in WAL mode). NORMAL may lose the last
# commits then, which were already acknowledged; OFF is for tests and throw-away replays.
SYNCHRONOUS = ("OFF", "NORMAL", "FULL", "EXTRA")

# The log is cut back to this after a long backlog or a slow reader has let it grow.
_JOURNAL_BYTES = 16 * 1024 * 1024


def refusal(said: str, error: sqlite3.Error) -> StoreError:
    """The error to raise for one of SQLite: its extended codes have the primary one in the low byte."""
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    is_of_the_disk = code in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR)
    return DiskError(said) if is_of_the_disk else StoreError(said)


@contextmanager
def claimed(path: Path) -> Iterator[None]:
    """Hold a store for the one process that may write readings, for the time of the block.

    Raises
    ------
    StoreError
        If another process holds it, or its folder cannot be made or written.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        # A record lock, not flock: a child forked for delivery must not keep it after a kill.
        claim = path.with_name(path.name + ".lock").open("wb")
    except OSError as error:
        kind = DiskError if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EIO) else StoreError
        raise kind(f"the folder of {path} cannot be written: {error}") from error
    with claim:
        try:
            fcntl.lockf(claim, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            raise StoreError(f"{path} is in use by another Brinebell; stop that one first") from error
        yield


def connect(path: Path, *, synchronous: str, busy_timeout_s: float) -> sqlite3.Connection:
    """Open a store file for writing, in autocommit mode: transactions are always spelled out.

    Raises
    ------
    StoreError
        If it cannot be opened or is no database.
    ValueError
        If `synchronous` is none of `SYNCHRONOUS`.
    """
    if synchronous not in SYNCHRONOUS:
        raise ValueError(f"synchronous must be one of {', '.join(SYNCHRONOUS)}, got {synchronous!r}")
    try:
        connection = sqlite3.connect(
            path, isolation_level=None, timeout=busy_timeout_s, check_same_thread=False
        )
        try:
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute(f"PRAGMA synchronous = {synchronous}")
            connection.execute(f"PRAGMA journal_size_limit = {_JOURNAL_BYTES}")
            connection.execute("PRAGMA foreign_keys = ON")
        except BaseException:
            connection.close()
            raise
    except sqlite3.Error as error:
        raise refusal(f"{path} cannot be opened: {error}", error) from error
    return connection


@contextmanager
def transaction(connection: sqlite3.Connection, lock: threading.Lock) -> Iterator[None]:
    """Commit at the end of the block, or roll back and raise StoreError if the database refuses."""
    with lock:
        try:
            connection.execute("BEGIN IMMEDIATE")
            yield
            connection.execute("COMMIT")
        except BaseException as error:
            # SQLite rolls back by itself after some errors (a full disk), not after others (busy).
            # A roll-back that fails too is tried again by the next transaction.
            if connection.in_transaction:
                with suppress(sqlite3.Error):
                    connection.execute("ROLLBACK")
            if isinstance(error, sqlite3.Error):
                said = f"the store refused a commit and kept nothing of it: {error}"
                raise refusal(said, error) from error
            raise
