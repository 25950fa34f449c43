"""The one writer of the store: a commit is one transaction, durable when it returns.

What is not durable yet is never acknowledged to the broker, so everything here is short, synchronous
and tested by killing the process in the middle of it.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TypeAlias

import orjson

from collector.configuration import SeriesConfiguration
from collector.errors import ConfigError
from collector.store.care import record_calibrations
from collector.store.commit import Arrival, Commit, Committed, Row
from collector.store.conflicts import ConflictRow, record_conflicts
from collector.store.connection import claimed, connect, transaction
from collector.store.happenings import (
    insert_alarms,
    insert_messages,
    record_planned_work,
    upsert_incident,
)
from collector.store.mirroring import is_followed_by, note_late, note_revised, note_sent
from collector.store.progress import Progress
from collector.store.requests import insert_requests, record_answers
from collector.store.reviews import record_reviews
from collector.store.schema import migrate
from collector.store.tellings import record_telling, withdraw_messages
from rules import FlagRevised

# A payload that is kept as a sample or in a conflict is cut here: it is there to be looked at.
SAMPLE_BYTES = 4096

# Only a taken key is let pass here; a broken constraint of any other kind still fails the commit.
_INSERT = "INSERT INTO readings VALUES(?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING"
_NEVER_US = -(2**63)
_NOTE = "INSERT OR REPLACE INTO meta VALUES(?, ?)"

# (series id, observed_us, value, flag + 16 * mark, delay_ms, commit number), as in table readings.
_StoredRow: TypeAlias = tuple[int, int, float, int, int, int]


class Store:
    """The store file, opened by its one writer.

    Methods may be called from any thread; a commit waits for the one before it. Only one process may
    have a store open for writing readings: delivery writes its tries through `Outbox`, everyone else
    reads by `StoreReader`.

    Parameters
    ----------
    path
        The database file; its folder is made if need be.
    synchronous
        "FULL" (durable at commit) in service; see `collector.store.connection.SYNCHRONOUS`.
    busy_timeout_s
        How long a commit waits for another writer before it fails.

    Raises
    ------
    StoreError
        If the file cannot be opened or migrated, or another process has it open.
    """

    def __init__(self, path: Path, *, synchronous: str = "FULL", busy_timeout_s: float = 5.0) -> None:
        self.path = Path(path)
        self._lock = threading.Lock()
        self._ids: tuple[int, ...] = ()
        # Of each series by id, to know what comes late: the instant of the newest reading that is stored.
        self._newest_us: dict[int, int] = {}
        with ExitStack() as stack:
            stack.enter_context(claimed(self.path))
            self._connection = connect(self.path, synchronous=synchronous, busy_timeout_s=busy_timeout_s)
            stack.callback(self._connection.close)
            migrate(self._connection)
            self._progress = Progress(self._connection)
            self._open = stack.pop_all()

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *exc_info: object) -> None:
        self.close()

    def close(self) -> None:
        """Fold the log into the file, close it and let others write."""
        self._open.close()

    def register(self, series: Sequence[SeriesConfiguration]) -> tuple[int, ...]:
        """Make the configured series known; their index here is the series index of rows from now on.

        Returns
        -------
        tuple of int
            The id in the store of each series, which stays the same over restarts and changes of order.

        Raises
        ------
        ConfigError
            If a series is stored under another quantity.
        """
        ids = []
        with transaction(self._connection, self._lock):
            for one in series:
                self._connection.execute(
                    "INSERT INTO series(tank, name, quantity) VALUES(?, ?, ?) ON CONFLICT DO NOTHING",
                    (one.tank, one.name, one.quantity),
                )
                number, quantity = self._connection.execute(
                    "SELECT id, quantity FROM series WHERE tank = ? AND name = ?", (one.tank, one.name)
                ).fetchone()
                if quantity != one.quantity:
                    raise ConfigError(
                        f"series {one.tank}/{one.name} has quantity {one.quantity!r} in the configuration "
                        f"but {quantity!r} in the store: give the series of the new quantity a new name"
                    )
                ids.append(number)
                (newest_us,) = self._connection.execute(
                    "SELECT ifnull(max(observed_us), ?) FROM readings WHERE series = ?", (_NEVER_US, number)
                ).fetchone()
                self._newest_us[number] = newest_us
        self._ids = tuple(ids)
        return self._ids

    def commit(self, batch: Commit) -> Committed:
        """Make a batch durable, all of it or nothing.

        (series, observed_us) is the key of a reading: the same key with the same value is a duplicate
        and changes nothing, with another value it is a conflict, of which the first value stays.

        Raises
        ------
        StoreError
            If the database refuses (disk full, busy); nothing has changed, and the same batch can be
            committed again.
        """
        lag_us = None if batch.engine_us is None else batch.committed_us - batch.engine_us
        tick_lag_us = None if batch.ticked_us is None else batch.committed_us - batch.ticked_us
        with self.transaction():
            # SQLite numbers it: one more than the last commit that is in the file.
            number = self._connection.execute(
                "INSERT INTO commits(committed_us, engine_lag_us, tick_lag_us) VALUES(?, ?, ?)",
                (batch.committed_us, lag_us, tick_lag_us),
            ).lastrowid
            assert number is not None  # noqa: S101 (an INSERT that did not raise has one)
            inserted, conflicts = self._insert_readings(batch, number) if batch.rows else (0, 0)
            if batch.revised:
                self._revise(batch.revised)
            self._insert_states(batch, number)
            if batch.alarms:
                insert_alarms(self._connection, batch.alarms, number)
            for record in batch.incidents:
                upsert_incident(self._connection, record)
            if batch.withdrawals:
                withdraw_messages(self._connection, batch.withdrawals, batch.committed_us)
            if batch.messages:
                insert_messages(self._connection, batch.messages)
            record_telling(self._connection, batch, number)
            if batch.planned_work is not None:
                record_planned_work(self._connection, batch.planned_work, number)
            if batch.requests:
                insert_requests(self._connection, batch.requests)
            if batch.answers:
                record_answers(self._connection, batch.answers, number)
                record_calibrations(self._connection, batch.answers, number)
                record_reviews(self._connection, batch.answers, number)
            if batch.notes:
                self._connection.executemany(_NOTE, batch.notes.items())
        self._remember_newest(batch.rows)
        return Committed(number, inserted, len(batch.rows) - inserted - conflicts, conflicts)

    @contextmanager
    def transaction(self) -> Iterator[Progress]:
        """Write what no commit carries, all of it or nothing, and how far the upkeep has come with it."""
        try:
            with transaction(self._connection, self._lock):
                yield self._progress
        except BaseException:
            with self._lock:
                self._progress.reload()
            raise

    @property
    def rolled_up_to_us(self) -> int:
        """The instant up to which every reading is in its rollups."""
        return self._progress.all_rolled_up_to_us

    @property
    def readings_from_us(self) -> int:
        """Of what was observed before it, readings may have been let go; 0 while none were."""
        return self._progress.readings_from_us

    @property
    def connection(self) -> sqlite3.Connection:
        """For the upkeep of the store, within `transaction`."""
        return self._connection

    def arrivals(self) -> tuple[Arrival, ...]:
        """The times given to payloads without one, for messages not known to be acknowledged."""
        rows = self._connection.execute("SELECT packet_id, topic, payload_hash, observed_us FROM arrivals")
        return tuple(Arrival(*row) for row in rows)

    def forget_arrivals(self) -> None:
        """Empty that list: the broker has no session for us, so nothing will be redelivered."""
        with transaction(self._connection, self._lock):
            self._connection.execute("DELETE FROM arrivals")

    def note(self, key: str) -> str | None:
        """A remembered fact about the world, such as the protocol version that a broker speaks."""
        row = self._connection.execute("SELECT value FROM meta WHERE key = ?", (key,)).fetchone()
        return None if row is None else str(row[0])

    def set_note(self, key: str, value: str) -> None:
        """Remember a fact under a key, in place of what was there."""
        with transaction(self._connection, self._lock):
            self._connection.execute(_NOTE, (key, value))

    def record_configuration(self, text: str, digest: str, applies_from_us: int) -> None:
        """Keep a configuration version, unless it is the one in force."""
        with transaction(self._connection, self._lock):
            row = self._connection.execute(
                "SELECT digest FROM configurations ORDER BY id DESC LIMIT 1"
            ).fetchone()
            if row is None or row[0] != digest:
                self._connection.execute(
                    "INSERT INTO configurations(applies_from_us, text, digest) VALUES(?, ?, ?)",
                    (applies_from_us, text, digest),
                )

    def record_baseline(
        self, series: int, form: str, data: Mapping[str, object], *, fitted_us: int, applies_from_us: int
    ) -> None:
        """Keep a baseline version of the series of that index; `data` is JSON, named by `form`."""
        with transaction(self._connection, self._lock):
            self._connection.execute(
                "INSERT INTO baselines(series, applies_from_us, fitted_us, form, data) VALUES(?, ?, ?, ?, ?)",
                (self._ids[series], applies_from_us, fitted_us, form, orjson.dumps(data).decode()),
            )

    def record_heat_model(
        self, tank: str, form: str, data: Mapping[str, object], *, fitted_us: int, applies_from_us: int
    ) -> None:
        """Keep a version of the model of a tank's heat; `data` is JSON, named by `form`."""
        with transaction(self._connection, self._lock):
            self._connection.execute(
                "INSERT INTO heat_models(tank, applies_from_us, fitted_us, form, data) VALUES(?, ?, ?, ?, ?)",
                (tank, applies_from_us, fitted_us, form, orjson.dumps(data).decode()),
            )

    def _insert_readings(self, batch: Commit, number: int) -> tuple[int, int]:
        """Insert readings and what follows from them; return how many were new, and new conflicts."""
        ids, rows = self._ids, batch.rows
        stored = [
            (ids[series], observed_us, value, flag | mark << 4, delay_ms, number)
            for series, observed_us, value, flag, mark, delay_ms, _, _ in rows
        ]
        before = self._connection.total_changes
        self._connection.executemany(_INSERT, stored)
        inserted = self._connection.total_changes - before
        if inserted == len(rows):
            packed = [(ids[row[0]], row[1], row[6]) for row in rows if row[6]]
            conflicts = 0
            newest_us = self._newest_us
            late = [(series, at_us) for series, at_us, *_ in stored if at_us < newest_us[series]]
        else:
            packed, late, conflicts = self._tell_duplicates_apart(rows, stored, number)
        if batch.of_database is not None and is_followed_by(self._connection, batch.of_database):
            # What was here already may be there with another flag: it is sent as any other reading.
            if inserted == len(rows):
                note_sent(self._connection, [row[:2] for row in stored])
        elif late:
            note_late(self._connection, late)
        if packed:
            self._connection.executemany("INSERT OR REPLACE INTO tests VALUES(?, ?, ?)", packed)
        if inserted:
            self._progress.roll_anew([row[:2] for row in stored])
        return inserted, conflicts

    def _tell_duplicates_apart(
        self, rows: Sequence[Row], stored: Sequence[_StoredRow], number: int
    ) -> tuple[list[tuple[int, int, int]], list[tuple[int, int]], int]:
        """Do what `_insert_readings` does when some keys were taken, before or within the batch."""
        packed: list[tuple[int, int, int]] = []
        late: list[tuple[int, int]] = []
        seen: set[tuple[int, int]] = set()
        conflicts: list[ConflictRow] = []
        for row, (series, observed_us, value, _, delay_ms, _) in zip(rows, stored, strict=True):
            key = (series, observed_us)
            first, commit_no = self._connection.execute(
                "SELECT value, commit_no FROM readings WHERE series = ? AND observed_us = ?", key
            ).fetchone()
            if commit_no == number and key not in seen:
                seen.add(key)
                if observed_us < self._newest_us[series]:
                    late.append(key)
                if row[6]:
                    packed.append((series, observed_us, row[6]))
            elif first != (value if value == value else None):  # NaN is stored as NULL
                received_us = observed_us + 1000 * delay_ms
                conflicts.append((series, observed_us, value, received_us, row[7][:SAMPLE_BYTES]))
        return packed, late, record_conflicts(self._connection, conflicts)

    def _revise(self, revised: Sequence[FlagRevised]) -> None:
        keys = [(self._ids[one.series], int(one.observed_us)) for one in revised]
        self._connection.executemany(
            "UPDATE readings SET flag_mark = flag_mark & ~15 | ? WHERE series = ? AND observed_us = ?",
            [(int(one.primary), *key) for one, key in zip(revised, keys, strict=True)],
        )
        self._connection.executemany(
            "INSERT OR REPLACE INTO tests VALUES(?, ?, ?)",
            [(*key, int(one.tests)) for one, key in zip(revised, keys, strict=True)],
        )
        self._progress.roll_anew(keys)
        note_revised(self._connection, keys)

    def _remember_newest(self, rows: Sequence[Row]) -> None:
        ids, newest_us = self._ids, self._newest_us
        for row in rows:
            if row[1] > newest_us[ids[row[0]]]:
                newest_us[ids[row[0]]] = row[1]

    def _insert_states(self, batch: Commit, number: int) -> None:
        """Rejections, arrivals and boards: what is known of sources beside their readings."""
        if batch.rejections:
            self._connection.executemany(
                "INSERT INTO rejected VALUES(?, ?, ?, ?, ?, ?) ON CONFLICT DO UPDATE SET"
                " count = count + excluded.count, last_us = excluded.last_us, reason = excluded.reason,"
                " payload = excluded.payload",
                [
                    (one.source, one.count, one.first_us, one.last_us, one.reason, one.payload[:SAMPLE_BYTES])
                    for one in batch.rejections
                ],
            )
        if batch.settled:
            # Before the new ones: the broker may have used the same packet id again.
            self._connection.executemany(
                "DELETE FROM arrivals WHERE packet_id = ?", [(packet_id,) for packet_id in batch.settled]
            )
        if batch.arrivals:
            self._connection.executemany("INSERT OR REPLACE INTO arrivals VALUES(?, ?, ?, ?)", batch.arrivals)
        for board in batch.boards:
            self._connection.execute(
                "INSERT INTO boards(commit_no, tank, name, is_online, since_us)"
                " SELECT :commit_no, :tank, :name, :is_online, :since_us WHERE (SELECT is_online FROM boards"
                " WHERE tank = :tank AND name = :name ORDER BY id DESC LIMIT 1) IS NOT :is_online",
                {"commit_no": number, **board._asdict()},
            )
