"""The mirror's side of the store: what the time-series database does not have yet, and how far it has come.

A cursor a series says up to which instant the database has all of it. What is stored behind a cursor later,
late readings and flags that were judged anew, is noted by the writer in the same commit (`note_late`,
`note_revised`). A
reading that is stored between the reading of a batch and its settling, and lies within it, is found when the
batch is settled: the batch is counted once more, in the transaction that moves the cursors.

Settling is not forced to the disk (synchronous=NORMAL): what a power cut takes back is sent once more, and a
point that is sent again overwrites itself.
"""

from __future__ import annotations

import sqlite3
import threading
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import KW_ONLY, dataclass
from pathlib import Path
from typing import Any, NamedTuple

from collector.errors import StoreError
from collector.store.connection import connect, transaction
from collector.store.schema import CURRENT_VERSION, version_of

# Who has a year here and gives the database thirty days would else keep the year twice: 4 MB are enough to
# see why, and to mend what was wrong for a week.
MOST_REFUSED = 100_000

# Before any reading.
_BEGINNING_US = -(2**62)
_AGAIN = "INSERT INTO mirror_again(series, observed_us) VALUES(?, ?)"
_LATE = (
    "INSERT INTO mirror_again(series, observed_us) SELECT ?1, ?2"
    " WHERE EXISTS(SELECT 1 FROM mirror_cursors WHERE series = ?1 AND sent_us >= ?2)"
)
# Ahead of the cursor, too: it may be in a batch that is on its way with the flag from before.
_REVISED = (
    "INSERT INTO mirror_again(series, observed_us) SELECT ?1, ?2"
    " WHERE EXISTS(SELECT 1 FROM mirror_cursors WHERE series = ?1)"
)
_AHEAD = (
    "SELECT series, observed_us, value, flag_mark & 15, 0 FROM readings WHERE series = ? AND observed_us > ?"
)
_SPAN = "FROM readings WHERE series = ? AND observed_us > ? AND observed_us <= ?"
_MOVE = (
    "INSERT INTO mirror_cursors VALUES(?, ?)"
    " ON CONFLICT DO UPDATE SET sent_us = max(sent_us, excluded.sent_us)"
)
_LEFT_OVER = (
    "SELECT series, observed_us, value, flag_mark & 15, no FROM mirror_again"
    " JOIN readings USING(series, observed_us) ORDER BY no LIMIT ?"
)
# As it is by now, where it is still there: its flag may have changed since it was refused.
_DUE = (
    "SELECT series, observed_us, iif(now.flag_mark IS NULL, refused.value, now.value),"
    " ifnull(now.flag_mark & 15, refused.flag), -1"
    " FROM mirror_refused AS refused LEFT JOIN readings AS now USING(series, observed_us) WHERE is_due"
    " ORDER BY series, observed_us LIMIT ?"
)
_REFUSE = (
    "INSERT OR REPLACE INTO mirror_refused"
    " VALUES(?, ?, ?, ?, ?, (SELECT id FROM mirror_reasons WHERE text = ?), 0)"
)


@dataclass(frozen=True, slots=True)
class Batch:
    """Readings as the database is to have them, in columns: `series` are ids, None is a value not measured.

    Parameters
    ----------
    origins
        Number in the list of what is sent again, or -1 for what was refused before; from position `ahead` on
        0, for what is ahead of the cursors, in order of time over all series.
    has_more
        Whether more can be had at once.
    """

    series: Sequence[int] = ()
    times_us: Sequence[int] = ()
    values: Sequence[float | None] = ()
    flags: Sequence[int] = ()
    origins: Sequence[int] = ()
    _: KW_ONLY
    ahead: int = 0
    has_more: bool = False

    def __len__(self) -> int:
        return len(self.series)


class SeriesTags(NamedTuple):
    """What names a series at the database."""

    tank: str
    name: str
    quantity: str


def note_late(connection: sqlite3.Connection, keys: Iterable[tuple[int, int]]) -> None:
    """Note new readings that are older than the newest of their series, in the commit that stores them."""
    connection.executemany(_LATE, keys)


def is_followed_by(connection: sqlite3.Connection, target: str) -> bool:
    """Whether it is that database which follows the store; from now on, if none has yet."""
    row = connection.execute("SELECT target FROM mirror").fetchone()
    if row is None:
        connection.execute("INSERT INTO mirror(id, target) VALUES(1, ?)", (target,))
    return row is None or bool(row[0] == target)


def note_sent(connection: sqlite3.Connection, keys: Iterable[tuple[int, int]]) -> None:
    """Note readings that the database has, in the commit that stores them.

    A cursor moves over them where it leaves none behind that the database may lack; else they are sent it.
    """
    times_us: dict[int, list[int]] = {}
    for series, at_us in keys:
        times_us.setdefault(series, []).append(at_us)
    cursors = cursors_of(connection)
    for series, those in times_us.items():
        ahead = {at_us for at_us in those if at_us > cursors[series]}
        if not ahead:
            continue
        first_us, last_us = min(ahead), max(ahead)
        (is_behind,) = connection.execute(
            f"SELECT EXISTS(SELECT 1 {_SPAN})",
            (series, cursors[series], first_us - 1),
        ).fetchone()
        if is_behind:
            continue
        (count,) = connection.execute(
            f"SELECT count(*) {_SPAN}",
            (series, first_us - 1, last_us),
        ).fetchone()
        if count == len(ahead):
            connection.execute(_MOVE, (series, last_us))


def note_revised(connection: sqlite3.Connection, keys: Iterable[tuple[int, int]]) -> None:
    """Note readings whose flag changes: within the commit that changes it."""
    connection.executemany(_REVISED, keys)


def unmirrored_from_us(connection: sqlite3.Connection, series: int) -> int | None:
    """The first instant of a series of which the database lacks something, None if it has all or is none.

    Who deletes readings that have become old keeps those from here on: they are nowhere else. To be asked
    while a database is configured: one that is no longer leaves its cursors behind.
    """
    if connection.execute("SELECT 1 FROM mirror").fetchone() is None:
        return None
    row = connection.execute(
        "SELECT min(observed_us) FROM (SELECT min(observed_us) AS observed_us FROM readings WHERE series = ?1"
        " AND observed_us > ifnull((SELECT sent_us FROM mirror_cursors WHERE series = ?1), ?2)"
        " UNION ALL SELECT min(observed_us) FROM mirror_again WHERE series = ?1)",
        (series, _BEGINNING_US),
    ).fetchone()
    return None if row[0] is None else int(row[0])


def cursors_of(connection: sqlite3.Connection) -> dict[int, int]:
    """Series -> up to when the database has it."""
    rows = connection.execute(
        "SELECT id, ifnull(sent_us, ?) FROM series LEFT JOIN mirror_cursors ON mirror_cursors.series = id"
        " ORDER BY id",
        (_BEGINNING_US,),
    )
    return {int(series): int(sent_us) for series, sent_us in rows}


class MirrorCursor:
    """The cursors of one database; for one thread.

    Parameters
    ----------
    path
        Of a store that `Store` has made.
    target
        Which database follows, `DatabaseConfiguration.identity`; another one than before is filled from the
        beginning. What the same one refused is tried anew.
    most_refused
        How many refused points are kept at once; of further ones only the number is.

    Raises
    ------
    StoreError
        If the store is not there or of another version; from each method, if it refuses.
    """

    def __init__(
        self, path: Path, target: str, *, most_refused: int = MOST_REFUSED, busy_timeout_s: float = 5.0
    ) -> None:
        path = Path(path)
        if not path.is_file():
            raise StoreError(f"there is no store at {path} yet: `brinebell run` makes it")
        self._target, self._most_refused = target, most_refused
        self._lock = threading.Lock()
        self._connection = connect(path, synchronous="NORMAL", busy_timeout_s=busy_timeout_s)
        try:
            version = version_of(self._connection)
            if version != CURRENT_VERSION:
                raise StoreError(f"{path} has store version {version}, the mirror needs {CURRENT_VERSION}")
            self._begin()
        except BaseException:
            self._connection.close()
            raise

    def close(self) -> None:
        """Close the connection."""
        self._connection.close()

    def _begin(self) -> None:
        with transaction(self._connection, self._lock):
            row = self._connection.execute("SELECT target FROM mirror").fetchone()
            if row is None or row[0] != self._target:
                for table in ("mirror", "mirror_cursors", "mirror_again", "mirror_refused", "mirror_reasons"):
                    self._connection.execute(f"DELETE FROM {table}")  # noqa: S608 - a name of the line above
                self._connection.execute("INSERT INTO mirror(id, target) VALUES(1, ?)", (self._target,))
            self._connection.execute(
                "INSERT INTO mirror_cursors SELECT id, ? FROM series WHERE true ON CONFLICT DO NOTHING",
                (_BEGINNING_US,),
            )
            self._connection.execute(
                "DELETE FROM mirror_again WHERE NOT EXISTS(SELECT 1 FROM readings"
                " WHERE (series, observed_us) = (mirror_again.series, mirror_again.observed_us))"
            )
            self._connection.execute("UPDATE mirror_refused SET is_due = 1")

    def tags(self) -> dict[int, SeriesTags]:
        """Every series of the store by its id."""
        return {
            series: SeriesTags(*tags)
            for series, *tags in self._query("SELECT id, tank, name, quantity FROM series")
        }

    def next_batch(self, limit: int) -> Batch:
        """What the database is to be sent next, at most so many: what is behind, then in order of time."""
        rows = self._query(_DUE, (limit,))
        if len(rows) < limit:
            rows += self._query(_LEFT_OVER, (limit - len(rows),))
        behind = len(rows)
        if behind < limit:
            rows += self._ahead(limit - behind)
        columns = zip(*rows, strict=True) if rows else ()
        return Batch(*columns, ahead=behind, has_more=len(rows) == limit)

    def _ahead(self, limit: int) -> list[Any]:
        try:
            cursors = cursors_of(self._connection)
        except sqlite3.Error as error:
            raise StoreError(f"the cursors of the mirror cannot be read: {error}") from error
        if not cursors:
            return []
        # SQLite merges the parts, each in the order of its key, and reads no further than the limit.
        parts = " UNION ALL ".join([_AHEAD] * len(cursors))
        bounds = [bound for cursor in cursors.items() for bound in cursor]
        return self._query(f"{parts} ORDER BY observed_us, series LIMIT ?", (*bounds, limit))

    def settle(self, batch: Batch, refused: Mapping[int, str], now_us: int) -> None:
        """Note in one transaction that the database has a batch, and which of it it refused and why.

        Parameters
        ----------
        batch
            As `next_batch` gave it.
        refused
            Position in it -> reason.
        """
        with transaction(self._connection, self._lock):
            row = self._connection.execute("SELECT target FROM mirror").fetchone()
            if row is None or row[0] != self._target:
                raise StoreError("another database follows the store by now")
            if batch.ahead:
                self._settle_behind(batch)
            self._move(batch.series[batch.ahead :], batch.times_us[batch.ahead :])
            if refused:
                self._refuse(batch, refused, now_us)

    def note_failing(self, since_us: int | None, reason: str | None) -> None:
        """Note since when the database takes nothing, and why; None for it works."""
        with transaction(self._connection, self._lock):
            self._connection.execute(
                "UPDATE mirror SET failing_since_us = ?, reason = ? WHERE target = ?",
                (since_us, reason, self._target),
            )

    @property
    def failing(self) -> tuple[int | None, str]:
        """Since when the database takes nothing, and why, as noted last; None and "" for it works."""
        since_us, reason = self._query("SELECT failing_since_us, reason FROM mirror")[0]
        return since_us, reason or ""

    @property
    def refused_count(self) -> int:
        """How many points are kept that the database refused."""
        return self._count_refused()

    def _settle_behind(self, batch: Batch) -> None:
        origins = batch.origins[: batch.ahead]
        self._connection.executemany(
            "DELETE FROM mirror_again WHERE no = ?", [(origin,) for origin in origins if origin > 0]
        )
        # What is refused once more is set aside anew, in the place that this leaves.
        self._connection.executemany(
            "DELETE FROM mirror_refused WHERE series = ? AND observed_us = ?",
            zip(batch.series[: batch.ahead], batch.times_us[: batch.ahead], strict=True),
        )

    def _move(self, series: Sequence[int], times_us: Sequence[int]) -> None:
        cursors = cursors_of(self._connection)
        counts = Counter(series)
        # In order of time: the last one of each stays.
        for one, last_us in dict(zip(series, times_us, strict=True)).items():
            span = (one, cursors[one], last_us)
            (count,) = self._connection.execute(f"SELECT count(*) {_SPAN}", span).fetchone()
            if count > counts[one]:
                # Stored since the batch was read, and within it.
                stored = {at_us for (at_us,) in self._connection.execute(f"SELECT observed_us {_SPAN}", span)}
                sent = {at_us for of, at_us in zip(series, times_us, strict=True) if of == one}
                missed = sorted(stored - sent)
                self._connection.executemany(_AGAIN, [(one, at_us) for at_us in missed])
            self._connection.execute(_MOVE, (one, last_us))

    def _refuse(self, batch: Batch, refused: Mapping[int, str], now_us: int) -> None:
        self._connection.executemany(
            "INSERT INTO mirror_reasons(text) VALUES(?) ON CONFLICT DO NOTHING",
            [(reason,) for reason in set(refused.values())],
        )
        room = max(0, self._most_refused - self._count_refused())
        kept = list(refused.items())[:room]
        self._connection.executemany(
            _REFUSE,
            [
                (batch.series[at], batch.times_us[at], batch.values[at], batch.flags[at], now_us, reason)
                for at, reason in kept
            ],
        )
        more = Counter(list(refused.values())[room:])
        self._connection.executemany(
            "UPDATE mirror_reasons SET not_kept = not_kept + ? WHERE text = ?",
            [(count, reason) for reason, count in more.items()],
        )

    def _count_refused(self) -> int:
        return int(self._query("SELECT count(*) FROM mirror_refused")[0][0])

    def _query(self, statement: str, parameters: tuple[object, ...] = ()) -> list[Any]:
        try:
            return self._connection.execute(statement, parameters).fetchall()
        except sqlite3.Error as error:
            raise StoreError(f"what the mirror lacks cannot be read: {error}") from error
