"""Can readings be kept: is the folder ours to write, is there room, and is the database sound?"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

from collector.checks.finding import Finding, Verdict
from collector.configuration import StoreConfiguration
from collector.errors import StoreError
from collector.store import StoreReader, flaw_of

_PART = "store"
_MEGABYTE = 1024 * 1024
# Six series every 10 s are some 50,000 readings a day, a few MB with their index.
_TOO_LITTLE = 100 * _MEGABYTE
_LITTLE = 1024 * _MEGABYTE
_PLENTY = 10 * 1024 * _MEGABYTE


def check_store(configuration: StoreConfiguration) -> Iterator[Finding]:
    """Look at folder, room and database; nothing is created and nothing changed."""
    folder = configuration.folder
    there = _nearest_folder(folder)
    if there is None or not os.access(there, os.W_OK | os.X_OK):
        yield Finding(
            _PART,
            Verdict.WRONG,
            f"{folder} cannot be written by this user",
            "run this as the user of the service, give the folder to it (chown), or change service.folder",
        )
        return
    if there == folder:
        yield from _check_writing(folder)
    else:
        yield Finding(_PART, Verdict.WELL, f"{folder} will be made at the first run")
    yield check_room(there)
    if configuration.path.is_file():
        yield _check_database(configuration.path)


def _nearest_folder(folder: Path) -> Path | None:
    """The folder itself or the nearest one above it that exists; None where a file is in the way."""
    found = next(one for one in (folder, *folder.parents) if one.exists())
    return found if found.is_dir() else None


def _check_writing(folder: Path) -> Iterator[Finding]:
    try:
        with tempfile.TemporaryFile(dir=folder) as file:
            file.write(b"brinebell")
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        yield Finding(
            _PART,
            Verdict.WRONG,
            f"writing to {folder} fails ({error.strerror})",
            "look at the disk: full, read-only after an error, or worn out?",
        )
    else:
        yield Finding(_PART, Verdict.WELL, f"{folder} can be written")


def check_room(folder: Path) -> Finding:
    """Whether there is room for what comes."""
    free = shutil.disk_usage(folder).free
    # Whole gigabytes where there are many: what is told to machines is sent when it changes.
    text = f"{free // _MEGABYTE:,} MB free" if free < _PLENTY else f"{free // (1024 * _MEGABYTE):,} GB free"
    mend = "make room, or put service.folder on a larger disk"
    if free < _TOO_LITTLE:
        return Finding(_PART, Verdict.WRONG, f"only {text}", mend)
    if free < _LITTLE:
        return Finding(_PART, Verdict.NOTE, f"only {text}", mend)
    return Finding(_PART, Verdict.WELL, text)


def _check_database(path: Path) -> Finding:
    """Let SQLite read through the whole file, which takes seconds for each GB."""
    mend = (
        "stop the service and put a backup in its place (`brinebell restore`); without one, move it aside "
        f"and start anew: `sqlite3 {path.name} .recover` may save what is in it"
    )
    flaw = flaw_of(path, is_thorough=False)
    if flaw is not None:
        return Finding(_PART, Verdict.WRONG, f"{path} is damaged ({flaw})", mend)
    try:
        with StoreReader(path) as reader:
            count, is_many = reader.conflict_count, bool(reader.conflicts_not_kept)
    except StoreError as error:
        return Finding(_PART, Verdict.WRONG, str(error))
    text = f"{path} is sound, {path.stat().st_size // _MEGABYTE:,} MB"
    if count:
        text += f"; {count:,} readings had another value than the one stored of their instant, which stays"
    if not is_many:
        return Finding(_PART, Verdict.WELL, text)
    mend = "do two boards publish as one series, or does a board's clock stand? table conflicts has examples"
    return Finding(_PART, Verdict.NOTE, text, mend)
