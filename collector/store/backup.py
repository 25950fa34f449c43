"""A copy of the store as it is at one instant, made while the service writes on; and the way back.

Both write beside their target under another name, look through what they wrote, make it durable and rename
it: after a kill or a power cut at any step there is the old file or the new one, and never half of one.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TypeAlias

from collector.errors import StoreError
from collector.store.connection import claimed, connect
from collector.store.integrity import flaw_of
from collector.store.schema import migrate, version_of
from rules import MICROSECONDS

# Pages that are done, and all of them.
Progress: TypeAlias = Callable[[int, int], object]

# 1 MB of pages of 4 KB: a step of the progress.
_PAGES = 256
_MOST_NAMES = 1000


def _silent(done: int, total: int) -> None:
    """Tell nobody."""


def back_up(path: Path, target: Path, tell: Progress = _silent) -> None:
    """Copy a store into a file that is not there yet; the service may run.

    What is committed while it takes its time is not in the copy. The copy is one file, sound and durable when
    this returns, and readable by its owner alone.

    Raises
    ------
    StoreError
        If there is no store, `target` exists, or the copy cannot be made or is damaged: it is removed then.
    """
    if not path.is_file():
        raise StoreError(f"there is no store at {path} yet: `brinebell run` makes it")
    if target.exists():
        raise StoreError(f"{target} exists, and nothing is overwritten: give another name, or a folder")
    with _half_done(target) as part:
        _copy(path, part, tell)
        _fold(part, "DELETE")
        _look_through(part, f"the copy of {path} is damaged, and {path} may be")
        _make_durable(part)
        part.replace(target)
        _make_durable(target.parent)


def restore(path: Path, source: Path, now_us: int, tell: Progress = _silent) -> Path | None:
    """Put a backup in the place of a store; no service may run. Return where the store before it is kept.

    What waited to be told when the backup was made is told no more, and arrival times given to payloads
    are forgotten, for the broker has gone on since.

    Raises
    ------
    StoreError
        If a service has the store open, or the backup is damaged, newer than this Brinebell or something
        else; the store is then as it was.
    """
    if not source.is_file():
        raise StoreError(f"there is no backup at {source}")
    if path.exists() and path.samefile(source):
        raise StoreError(f"{source} is the store itself: give the file that `brinebell backup` wrote")
    with claimed(path), _half_done(path) as part:
        _look_at(source)
        _copy(source, part, tell)
        _look_through(part, f"{source} is damaged")
        with closing(connect(part, synchronous="FULL", busy_timeout_s=5.0)) as connection:
            migrate(connection)
            connection.execute("BEGIN")
            connection.execute(
                "UPDATE outbox SET state = 'given_up', withdrawn_us = ? WHERE state = 'waiting'", (now_us,)
            )
            connection.execute("DELETE FROM arrivals")
            connection.execute("COMMIT")
        _make_durable(part)
        kept = _keep(path, now_us) if path.exists() else None
        part.replace(path)
        _make_durable(path.parent)
    return kept


@contextmanager
def _half_done(target: Path) -> Iterator[Path]:
    """Give the name of a file beside a target; it is gone at the end, unless it was renamed."""
    part = target.with_name(f"{target.name}.part")
    try:
        _remove(part)
        yield part
    except (OSError, sqlite3.Error) as error:
        raise StoreError(f"{target} cannot be written: {error}") from error
    finally:
        _remove(part)


def _remove(part: Path) -> None:
    for name in ("", "-journal", "-wal", "-shm"):
        part.with_name(part.name + name).unlink(missing_ok=True)


def _copy(source: Path, part: Path, tell: Progress) -> None:
    os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
    with closing(_reading(source)) as reading, closing(sqlite3.connect(part)) as writing:
        # An open read transaction holds the copy to one instant. Without it SQLite would begin anew with
        # every commit of the service, and never come to an end on a slow card.
        reading.execute("BEGIN")
        (size,) = reading.execute(
            "SELECT page_count * page_size FROM pragma_page_count, pragma_page_size"
        ).fetchone()
        free = shutil.disk_usage(part.parent).free
        if free < size:
            raise StoreError(
                f"{part.parent} has room for {free // 10**6:,} MB, and {size // 10**6:,} MB are needed"
            )
        reading.backup(
            writing, pages=_PAGES, progress=lambda _, remaining, total: tell(total - remaining, total)
        )


def _reading(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True, isolation_level=None)


def _fold(path: Path, mode: str) -> None:
    """Bring a database into a journal mode, all of it in its one file."""
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        connection.execute(f"PRAGMA journal_mode = {mode}")


def _look_at(source: Path) -> None:
    """Refuse what is no store, or one that is too new."""
    try:
        with closing(_reading(source)) as connection:
            version = version_of(connection)
    except sqlite3.Error as error:
        raise StoreError(f"{source} is no backup of a store: {error}") from error
    if version == 0:
        raise StoreError(f"{source} is empty: there is nothing to restore")


def _look_through(path: Path, wrong: str) -> None:
    flaw = flaw_of(path, is_thorough=True)
    if flaw is not None:
        raise StoreError(f"{wrong} ({flaw})")


def _make_durable(path: Path) -> None:
    number = os.open(path, os.O_RDONLY)
    try:
        os.fsync(number)
    finally:
        os.close(number)


def _log(path: Path) -> Path:
    return path.with_name(path.name + "-wal")


def _keep(path: Path, now_us: int) -> Path:
    """Give the store a second name, under which it stays; its log is folded into it before."""
    at = datetime.fromtimestamp(now_us // MICROSECONDS, UTC)
    name = f"{path.name}.before-restore-{at:%Y%m%dT%H%M%SZ}"
    names = (path.with_name(name + (f"-{number}" if number else "")) for number in range(_MOST_NAMES))
    kept = next(one for one in names if not one.exists() and not _log(one).exists())
    log = _log(path)
    if log.exists():
        # SQLite throws the log of what it cannot read away, and that may be why somebody restores.
        shutil.copyfile(log, _log(kept))
    try:
        _fold(path, "WAL")
    except sqlite3.OperationalError as error:
        raise StoreError(f"{path} cannot be put aside: {error}") from error
    except sqlite3.DatabaseError:
        # It is damaged: its log goes with it, and not with the new one.
        log.unlink(missing_ok=True)
        path.with_name(path.name + "-shm").unlink(missing_ok=True)
    else:
        _log(kept).unlink(missing_ok=True)
    if log.exists():
        raise StoreError(f"{path} is open in another program: close that first")
    try:
        os.link(path, kept)
    except OSError:
        # A disk without second names, such as FAT.
        shutil.copyfile(path, kept)
        _make_durable(kept)
    _make_durable(path.parent)
    return kept
