"""The delivery worker's side of the store: what is to be sent, and what became of each try.

Messages enter the outbox in the commit that carries the alarm, so none is lost and none is made up. The
worker works on a connection of its own with transactions of one row, so it never holds up a commit.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from collector.errors import StoreError
from collector.messages import (
    Detour,
    FailingChannel,
    Handed,
    Message,
    NewMessage,
    Outcome,
    Route,
    Try,
)
from collector.store.connection import connect, transaction
from collector.store.happenings import insert_message
from collector.store.schema import CURRENT_VERSION, version_of

MESSAGE_COLUMNS = (
    "outbox.id, incident, kind, person, channel, created_us, not_before_us, title, body, priority,"
    " (SELECT count(*) FROM tries WHERE outbox_id = outbox.id),"
    " EXISTS(SELECT 1 FROM tries WHERE (ended_us IS NULL OR outcome = 'interrupted') AND outbox_id IN"
    " (SELECT id FROM outbox AS same WHERE same.id = ifnull(outbox.instead_of, outbox.id)"
    " OR same.instead_of = ifnull(outbox.instead_of, outbox.id))),"
    " instead_of"
)
_TRIED = "(SELECT outbox_id FROM tries WHERE id = :try)"
_CHANNEL = f"(SELECT person, channel FROM outbox WHERE id = {_TRIED})"  # noqa: S608
# Who was reached only now is not to be rung at once for every repetition meanwhile.
_OVERTAKE = (
    "UPDATE outbox SET state = 'given_up', withdrawn_us = :now FROM"  # noqa: S608
    f" (SELECT * FROM outbox WHERE id = {_TRIED}) AS told"
    " WHERE outbox.state = 'waiting' AND outbox.kind = 'again' AND outbox.incident = told.incident"
    " AND outbox.person = told.person AND outbox.channel = told.channel AND outbox.created_us <= :now"
)
# Of a channel that works again by the morning nobody need read that it fails.
_CALL_OFF_REPORT = (
    "UPDATE outbox SET state = 'given_up', withdrawn_us = :now WHERE state = 'waiting'"  # noqa: S608
    f" AND id = (SELECT report FROM failing_channels WHERE (person, channel) = {_CHANNEL})"
    " AND NOT EXISTS(SELECT 1 FROM tries WHERE outbox_id = outbox.id)"
)
_WORKS = f"DELETE FROM failing_channels WHERE (person, channel) = {_CHANNEL}"  # noqa: S608
_FAILS = (
    "INSERT OR IGNORE INTO failing_channels(person, channel, since_us, reason)"  # noqa: S608
    f" SELECT person, channel, :now, :reason FROM outbox WHERE id = {_TRIED}"
)
_IS_TOLD = f"UPDATE failing_channels SET report = :report WHERE (person, channel) = {_CHANNEL}"  # noqa: S608
_CARRY_ON = (
    "INSERT INTO outbox(incident, kind, person, channel, created_us, not_before_us, title, body, priority,"
    " instead_of, after_try) SELECT incident, kind, person, :channel, created_us, :not_before_us, title,"
    " body, priority, :original, :try FROM outbox WHERE id = :id"
)
FAILING = "SELECT person, channel, since_us, reason, report IS NOT NULL FROM failing_channels"
_URGENT_FIRST = "CASE priority WHEN 'urgent' THEN 0 WHEN 'high' THEN 1 ELSE 2 END"


def failing_of(rows: Iterable[tuple[Any, ...]]) -> tuple[FailingChannel, ...]:
    """What rows of `FAILING` say."""
    return tuple(
        FailingChannel(person, channel, since_us, reason, bool(is_told))
        for person, channel, since_us, reason, is_told in rows
    )


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
        detour: Detour | None = None,
        report: NewMessage | None = None,
    ) -> None:
        """Note how a try ended, and all that follows of it, in one transaction.

        Parameters
        ----------
        number
            As `record_try_started` returned.
        outcome
            DELIVERED also marks the message done, and what repeats it and is due by now as overtaken; its
            channel works again. After anything else the message waits on.
        reason
            What the channel said.
        retry_at_us
            When the message may be tried again; None leaves that as it was.
        detour
            Over which other channel the message goes on, unless it is needed no more.
        report
            Tells that the channel fails, which it does after FAILED, a detour or a report.
        """
        values = {"try": number, "now": ended_us, "reason": reason, "retry": retry_at_us}
        with transaction(self._connection, self._lock):
            self._connection.execute(
                "UPDATE tries SET ended_us = :now, outcome = :outcome, reason = :reason WHERE id = :try",
                values | {"outcome": outcome.value},
            )
            if outcome is Outcome.DELIVERED:
                self._connection.execute(f"UPDATE outbox SET state = 'done' WHERE id = {_TRIED}", values)  # noqa: S608
                self._connection.execute(_OVERTAKE, values)
                self._connection.execute(_CALL_OFF_REPORT, values)
                self._connection.execute(_WORKS, values)
                return
            if retry_at_us is not None:
                self._connection.execute(
                    f"UPDATE outbox SET not_before_us = :retry WHERE id = {_TRIED}",  # noqa: S608
                    values,
                )
            if detour is not None:
                self._move(values | detour._asdict())
            if outcome is Outcome.FAILED or detour is not None or report is not None:
                self._connection.execute(_FAILS, values)
            if report is not None:
                told = insert_message(self._connection, report)
                self._connection.execute(_IS_TOLD, values | {"report": told})

    def _move(self, values: dict[str, Any]) -> None:
        """Let a message that waits go on over another channel, where a row of it may be already."""
        row = self._connection.execute(
            "SELECT id, ifnull(instead_of, id) FROM outbox"  # noqa: S608
            f" WHERE id = {_TRIED} AND state = 'waiting'",
            values,
        ).fetchone()
        if row is None:
            return
        values = values | {"id": row[0], "original": row[1]}
        known = self._connection.execute(
            "UPDATE outbox SET state = 'waiting', not_before_us = :not_before_us, after_try = :try,"
            " moved_to = NULL WHERE channel = :channel AND (id = :original OR instead_of = :original)"
            " RETURNING id",
            values,
        ).fetchall()
        if known:
            ((there,),) = known
        else:
            there = self._connection.execute(_CARRY_ON, values).lastrowid
        self._connection.execute(
            "UPDATE outbox SET state = 'given_up', moved_to = :there WHERE id = :id",
            values | {"there": there},
        )

    def give_up(self, message: int) -> None:
        """Send a message no more: its tries are used up, or what it says is no longer so."""
        with transaction(self._connection, self._lock):
            self._connection.execute(
                "UPDATE outbox SET state = 'given_up' WHERE id = ? AND state = 'waiting'", (message,)
            )

    def routes(self, message: Message) -> tuple[Route, ...]:
        """Every channel over which a person is told the same at the same time, in the order of their use."""
        rows = self._query(
            "SELECT channel, state, EXISTS(SELECT 1 FROM tries WHERE outbox_id = outbox.id AND outcome IN"
            " ('failed', 'interrupted')), ifnull(instead_of, id) FROM outbox WHERE incident IS :incident"
            " AND kind = :kind AND person = :person AND created_us = :created AND title = :title ORDER BY id",
            {
                "incident": message.incident,
                "kind": message.kind,
                "person": message.person,
                "created": message.created_us,
                "title": message.title,
            },
        )
        return tuple(Route(channel, state, bool(failed), first) for channel, state, failed, first in rows)

    def failing(self) -> tuple[FailingChannel, ...]:
        """The channels that do not work."""
        return failing_of(self._query(FAILING, ()))

    def handed(self, since_us: int) -> tuple[Handed, ...]:
        """Tries begun since then that have reached their person, or may have."""
        rows = self._query(
            "SELECT person, channel, started_us FROM tries JOIN outbox ON outbox.id = outbox_id"
            " WHERE started_us > ? AND outcome IS NOT 'failed' ORDER BY started_us",
            (since_us,),
        )
        return tuple(Handed(*row) for row in rows)

    def unfinished_tries(self) -> tuple[tuple[Try, Message], ...]:
        """Tries that have no end: at a start of the worker, those that a crash cut off."""
        rows = self._query(
            "SELECT tries.id, started_us, ended_us, outcome, reason,"  # noqa: S608
            f" {MESSAGE_COLUMNS} FROM tries JOIN outbox ON outbox.id = outbox_id"
            " WHERE ended_us IS NULL ORDER BY tries.id",
            (),
        )
        return tuple((Try(*row[:5]), Message.of_row(row[5:])) for row in rows)

    def _query(self, statement: str, parameters: tuple[object, ...] | dict[str, object]) -> list[Any]:
        try:
            return self._connection.execute(statement, parameters).fetchall()
        except sqlite3.Error as error:
            raise StoreError(f"the outbox cannot be read: {error}") from error
