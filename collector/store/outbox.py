"""The delivery worker's side of the store: what is to be sent, and what became of each try.

Messages enter the outbox in the commit that carries the alarm, so none is lost and none is made up. The
worker works on a connection of its own with transactions of one row, so it never holds up a commit.
"""

from __future__ import annotations

import sqlite3
import threading
from pathlib import Path
from typing import Any

from collector.errors import StoreError
from collector.messages import Message, Outcome, Try
from collector.store.connection import connect, transaction
from collector.store.schema import CURRENT_VERSION, version_of

MESSAGE_COLUMNS = (
    "outbox.id, incident, kind, person, channel, created_us, not_before_us, title, body, priority,"
    " (SELECT count(*) FROM tries WHERE outbox_id = outbox.id),"
    " EXISTS(SELECT 1 FROM tries WHERE outbox_id = outbox.id"
    " AND (ended_us IS NULL OR outcome = 'interrupted'))"
)
_URGENT_FIRST = "CASE priority WHEN 'urgent' THEN 0 WHEN 'high' THEN 1 ELSE 2 END"


class Outbox:
    """The outbox of a store that `Store` has made; its methods may be called from any thread.

    Raises
    ------
    StoreError
        If the store is not there or of another version; from each method, if the database refuses.
    """

    def __init__(self, path: Path, *, synchronous: str = "FULL", busy_timeout_s: float = 5.0) -> None:
        path = Path(path)
        if not path.is_file():
            raise StoreError(f"there is no store at {path} yet: `brinebell run` makes it")
        self._lock = threading.Lock()
        self._connection = connect(path, synchronous=synchronous, busy_timeout_s=busy_timeout_s)
        try:
            version = version_of(self._connection)
            if version != CURRENT_VERSION:
                raise StoreError(f"{path} has store version {version}, delivery needs {CURRENT_VERSION}")
        except BaseException:
            self._connection.close()
            raise

    def __enter__(self) -> Outbox:
        return self

    def __exit__(self, *exc_info: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the connection."""
        self._connection.close()

    def due(self, now_us: int, limit: int = 100) -> tuple[Message, ...]:
        """Messages that wait and may be sent now: urgent ones first, then in the order of their making."""
        rows = self._query(
            f"SELECT {MESSAGE_COLUMNS} FROM outbox WHERE state = 'waiting' AND not_before_us <= ?"  # noqa: S608
            f" ORDER BY {_URGENT_FIRST}, outbox.id LIMIT ?",
            (now_us, limit),
        )
        return tuple(Message.of_row(row) for row in rows)

    def next_due_us(self) -> int | None:
        """When the next waiting message may be sent; None if none waits."""
        value: int | None = self._query("SELECT min(not_before_us) FROM outbox WHERE state = 'waiting'", ())[
            0
        ][0]
        return value

    def record_try_started(self, message: int, started_us: int) -> int:
        """Note that sending a message begins; return the id of the try."""
        with transaction(self._connection, self._lock):
            cursor = self._connection.execute(
                "INSERT INTO tries(outbox_id, started_us) VALUES(?, ?)", (message, started_us)
            )
        return int(cursor.lastrowid or 0)

    def record_try_ended(
        self,
        number: int,
        ended_us: int,
        outcome: Outcome,
        reason: str = "",
        *,
        retry_at_us: int | None = None,
    ) -> None:
        """Note how a try ended.

        Parameters
        ----------
        number
            As `record_try_started` returned.
        outcome
            DELIVERED also marks the message done, and what repeats it and is due by now as overtaken;
            after anything else it waits on.
        reason
            What the channel said.
        retry_at_us
            When the message may be tried again; None leaves that as it was.
        """
        with transaction(self._connection, self._lock):
            self._connection.execute(
                "UPDATE tries SET ended_us = ?, outcome = ?, reason = ? WHERE id = ?",
                (ended_us, outcome.value, reason, number),
            )
            if outcome is Outcome.DELIVERED:
                change, value = "state = 'done'", None
            elif retry_at_us is not None:
                change, value = "not_before_us = ?", retry_at_us
            else:
                return
            self._connection.execute(
                f"UPDATE outbox SET {change} WHERE id = (SELECT outbox_id FROM tries WHERE id = ?)",  # noqa: S608
                (number,) if value is None else (value, number),
            )
            if outcome is Outcome.DELIVERED:
                # Who was reached only now is not to be rung at once for every repetition meanwhile.
                self._connection.execute(
                    "UPDATE outbox SET state = 'given_up', withdrawn_us = :now FROM"
                    " (SELECT outbox.* FROM outbox JOIN tries ON outbox.id = outbox_id WHERE tries.id = :id)"
                    " AS told WHERE outbox.state = 'waiting' AND outbox.kind = 'again'"
                    " AND outbox.incident = told.incident AND outbox.person = told.person"
                    " AND outbox.channel = told.channel AND outbox.created_us <= :now",
                    {"now": ended_us, "id": number},
                )

    def give_up(self, message: int) -> None:
        """Send a message no more: its tries are used up, or what it says is no longer so."""
        with transaction(self._connection, self._lock):
            self._connection.execute(
                "UPDATE outbox SET state = 'given_up' WHERE id = ? AND state = 'waiting'", (message,)
            )

    def unfinished_tries(self) -> tuple[tuple[Try, Message], ...]:
        """Tries that have no end: at a start of the worker, those that a crash cut off."""
        rows = self._query(
            "SELECT tries.id, started_us, ended_us, outcome, reason,"  # noqa: S608
            f" {MESSAGE_COLUMNS} FROM tries JOIN outbox ON outbox.id = outbox_id"
            " WHERE ended_us IS NULL ORDER BY tries.id",
            (),
        )
        return tuple((Try(*row[:5]), Message.of_row(row[5:])) for row in rows)

    def _query(self, statement: str, parameters: tuple[object, ...]) -> list[Any]:
        try:
            return self._connection.execute(statement, parameters).fetchall()
        except sqlite3.Error as error:
            raise StoreError(f"the outbox cannot be read: {error}") from error
