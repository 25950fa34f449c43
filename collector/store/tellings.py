"""The lives of alarms, the telling of incidents and test rings: how they are written and read again."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import asdict

import orjson

from collector.alarm_record import LifeChange, RingTest, Withdrawal
from collector.store.commit import Commit
from rules import AlarmKey, AlarmLife, AlarmState, AlarmStep, Hold


def record_telling(connection: sqlite3.Connection, batch: Commit, number: int) -> None:
    """Write what a commit says of alarms' lives, tellings and test rings, in the caller's transaction."""
    connection.executemany(
        "INSERT INTO alarm_life(commit_no, at_us, tank, series, cause, step, state, who, why, life)"
        " VALUES(?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [
            (
                number,
                one.at_us,
                one.alarm.tank,
                one.alarm.series,
                one.alarm.cause,
                one.step,
                one.life.state.value,
                one.who,
                one.why,
                orjson.dumps(asdict(one.life)).decode(),
            )
            for one in batch.lives
        ],
    )
    connection.executemany("INSERT OR REPLACE INTO tellings VALUES(?, ?, ?, ?, ?, ?)", batch.threads)
    connection.executemany("INSERT OR REPLACE INTO test_rings VALUES(?, ?, ?, ?, ?)", batch.test_rings)


def withdraw_messages(connection: sqlite3.Connection, withdrawals: Sequence[Withdrawal], now_us: int) -> None:
    """Let messages that wait be sent no more, in the caller's transaction.

    One that is being sent at this moment and arrives is done all the same.
    """
    connection.executemany(
        "UPDATE outbox SET state = 'given_up', withdrawn_us = :now WHERE incident IS :incident"
        " AND state = 'waiting' AND :person IN ('', person)"
        " AND (:kinds = '[]' OR kind IN (SELECT value FROM json_each(:kinds)))"
        " AND NOT (:is_waiting AND EXISTS("
        "SELECT 1 FROM tries WHERE outbox_id = outbox.id AND ended_us IS NULL))",
        [{**one._asdict(), "kinds": orjson.dumps(one.kinds).decode(), "now": now_us} for one in withdrawals],
    )


def last_life_changes(connection: sqlite3.Connection) -> tuple[LifeChange, ...]:
    """The last row of every alarm."""
    rows = connection.execute(
        "SELECT tank, series, cause, at_us, step, life, who, why FROM alarm_life"
        " WHERE id IN (SELECT max(id) FROM alarm_life GROUP BY tank, series, cause) ORDER BY id"
    )
    return tuple(
        LifeChange(AlarmKey(tank, series, cause), at_us, step, life_of(text), who, why)
        for tank, series, cause, at_us, step, text, who, why in rows
    )


def acknowledged_after_us(connection: sqlite3.Connection, start_us: int, end_us: int) -> tuple[int, ...]:
    """How long after it was raised each alarm was acknowledged that was in a range."""
    rows = connection.execute(
        "SELECT at_us - (SELECT at_us FROM alarm_life WHERE step = :raise AND id < one.id AND tank = one.tank"
        " AND series = one.series AND cause = one.cause ORDER BY id DESC LIMIT 1) AS after_us"
        " FROM alarm_life AS one WHERE step = :acknowledge AND at_us >= :start AND at_us < :end"
        " AND after_us >= 0 ORDER BY id",
        {
            "raise": AlarmStep.RAISE.value,
            "acknowledge": AlarmStep.ACKNOWLEDGE.value,
            "start": start_us,
            "end": end_us,
        },
    )
    return tuple(int(after_us) for (after_us,) in rows)


def alarm_lives(connection: sqlite3.Connection) -> dict[AlarmKey, AlarmLife]:
    """What every alarm is by its last row."""
    return {change.alarm: change.life for change in last_life_changes(connection)}


def threads(connection: sqlite3.Connection) -> tuple[str, ...]:
    """Tellings that are not over, by incident."""
    rows = connection.execute("SELECT data FROM tellings WHERE data IS NOT NULL ORDER BY incident")
    return tuple(text for (text,) in rows)


def test_rings(connection: sqlite3.Connection) -> tuple[RingTest, ...]:
    """The last test ring of each person."""
    rows = connection.execute(
        "SELECT person, max(rung_us), answered_us, who, missed_us FROM test_rings GROUP BY person"
    )
    return tuple(RingTest(*row) for row in rows)


def life_of(text: str) -> AlarmLife:
    """An alarm's life as it was written."""
    values = orjson.loads(text)
    holds = tuple(Hold(**{**one, "kind": AlarmState(one["kind"])}) for one in values.pop("holds"))
    return AlarmLife(followed=AlarmState(values.pop("followed")), holds=holds, **values)
