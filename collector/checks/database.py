"""Does the time-series database take readings and give them back, how far has it come, what did it refuse?

To an InfluxDB 2 this is also the proof of what no test here can run: its own answers to a write and to Flux.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterator

from collector.checks.finding import Finding, Verdict
from collector.checks.reach import is_open
from collector.configuration import Configuration, DatabaseConfiguration
from collector.database import Database, NotTakenError, open_database
from collector.errors import DatabaseError, StoreError
from collector.store import MirrorState, StoreReader
from collector.wording.times import duration_text, moment_text
from rules import MICROSECONDS

_PART = "database"
# Nobody waits for a check as for a batch.
TIMEOUT_S = 10.0
# A comment of line protocol: whoever may write is let in, and nothing is written.
_NOTHING = b"# brinebell check"
_BEHIND_US = 10 * 60 * MICROSECONDS
_LANGUAGES = {"v1": "InfluxQL", "v2": "Flux"}
_MOST_REASONS = 3


def check_database(configuration: Configuration) -> Iterator[Finding]:
    """Look at the database and at what the store says of it; nothing if none is configured."""
    database = configuration.database
    if database is None:
        return
    if database.token is not None and is_open(database.address):
        yield Finding(
            _PART,
            Verdict.NOTE,
            "the token goes over plain http through other networks, where it can be read",
            "put TLS before the database, and give database.address an https:// address",
        )
    opened = open_database(database, timeout_s=TIMEOUT_S)
    try:
        yield from _check_ways(database, opened, configuration)
    finally:
        opened.close()
    yield from _check_progress(configuration, database)


def _check_ways(
    database: DatabaseConfiguration, opened: Database, configuration: Configuration
) -> Iterator[Finding]:
    try:
        opened.write([_NOTHING])
    except DatabaseError as error:
        mend = error.mend if isinstance(error, NotTakenError) else ""
        yield Finding(_PART, Verdict.WRONG, f"readings cannot be sent: {error}", mend)
        return
    yield Finding(_PART, Verdict.WELL, f"{database.address} takes readings for {database.bucket}")
    language = _LANGUAGES[database.api]
    one, now_us = configuration.series[0], time.time_ns() // 1000
    try:
        opened.readings(one.tank, one.name, now_us - 60 * MICROSECONDS, now_us)
    except DatabaseError as error:
        yield Finding(
            _PART,
            Verdict.NOTE,
            f"it gives none back: {error}",
            f"nothing to do if others read it; charts and replay ask in {language}, which not every database "
            "understands",
        )
    else:
        yield Finding(_PART, Verdict.WELL, f"it answers questions in {language}")


def _check_progress(configuration: Configuration, database: DatabaseConfiguration) -> Iterator[Finding]:
    path, zone = configuration.store.path, configuration.tanks[0].rules.time_zone
    if not path.is_file():
        return
    try:
        with StoreReader(path) as reader:
            state, refused = reader.mirror_state(), reader.refused_points()
    except (StoreError, sqlite3.Error):
        return  # the check of the store says so
    if state is None or state.target != database.identity:
        yield Finding(
            _PART,
            Verdict.NOTE,
            "nothing was sent to it yet"
            if state is None
            else f"readings were sent elsewhere until now: {state.target.strip()}",
            "at its next start the service sends all that is in the store",
        )
        return
    yield _progress(state, zone)
    for one in refused[:_MOST_REASONS]:
        yield Finding(
            _PART,
            Verdict.WRONG,
            f"it refused {one.points:,} of {one.tank}/{one.series}, {moment_text(one.first_us, zone)} to "
            f"{moment_text(one.last_us, zone)}: {one.reason}",
            "they are kept; mend the cause at the database, then let the service start anew "
            "(systemctl reload brinebell): what was refused is sent once more",
        )
    if state.not_kept:
        yield Finding(
            _PART,
            Verdict.NOTE,
            f"it refused {state.not_kept:,} more, which are not set aside: the store alone has them",
            "nothing to do if the database is to keep less than the store; else mend the cause, and begin "
            "anew with another database.bucket",
        )
    if len(refused) > _MOST_REASONS:
        left = sum(one.points for one in refused[_MOST_REASONS:])
        yield Finding(_PART, Verdict.WRONG, f"and {left:,} more for other reasons or of other series")


def _progress(state: MirrorState, zone: str) -> Finding:
    if state.oldest_us is None:
        but = " but those below" if state.refused else ""
        return Finding(_PART, Verdict.WELL, f"it has every reading{but}")
    behind_us = time.time_ns() // 1000 - state.oldest_us
    some = f"{state.waiting:,} reading{'' if state.waiting == 1 else 's'}"
    text = f"it lacks {some}, the oldest of them {duration_text(behind_us)} old"
    if state.failing_since_us is not None:
        return Finding(
            _PART,
            Verdict.NOTE,
            f"{text}, and has taken none since {moment_text(state.failing_since_us, zone)}: {state.reason}",
            "nothing is lost; the service goes on by itself, at most five minutes after the cause is mended",
        )
    if behind_us > _BEHIND_US:
        return Finding(
            _PART,
            Verdict.NOTE,
            text,
            "well if the service has just begun to catch up; else see whether it runs",
        )
    return Finding(_PART, Verdict.WELL, text)
