"""How alarm events, incidents, notifications and planned work are written, in the caller's transaction."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import asdict

import orjson

from collector.messages import NewMessage
from collector.store.commit import IncidentRecord
from rules import AlarmEvent, AlarmRaised, PlannedWork


def insert_alarms(connection: sqlite3.Connection, alarms: Sequence[AlarmEvent], number: int) -> None:
    """Append alarm events, each under the number of its commit."""
    rows: list[tuple[object, ...]] = []
    for event in alarms:
        head = (number, event.at_us, event.alarm.tank, event.alarm.series, event.alarm.cause)
        if isinstance(event, AlarmRaised):
            evidence = event.evidence
            what = (evidence.value, _json(event.concerns), _json(evidence))
            rows.append((*head, "raised", event.priority.value, event.first_evidence_us, *what))
        else:
            rows.append((*head, "returned", None, None, event.value, None, None))
    connection.executemany(
        "INSERT INTO alarm_events(commit_no, at_us, tank, series, cause, kind, priority,"
        " first_evidence_us, value, concerns, evidence) VALUES(?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        rows,
    )


def upsert_incident(connection: sqlite3.Connection, record: IncidentRecord) -> None:
    """Write an incident as it is now, in place of what it was."""
    incident = record.incident
    connection.execute(
        "INSERT INTO incidents VALUES(?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO UPDATE SET"
        " tank = excluded.tank, cause = excluded.cause, series = excluded.series,"
        " priority = excluded.priority, first_evidence_us = excluded.first_evidence_us,"
        " alarmed_at_us = excluded.alarmed_at_us, ended_at_us = excluded.ended_at_us,"
        " evidence = excluded.evidence, alarms = excluded.alarms, title = excluded.title,"
        " body = excluded.body",
        (
            incident.number,
            incident.tank,
            incident.cause,
            _json(incident.series),
            incident.priority.value,
            incident.first_evidence_us,
            incident.alarmed_at_us,
            incident.ended_at_us,
            _json(incident.evidence),
            _json([(alarm.tank, alarm.series, alarm.cause) for alarm in incident.alarms]),
            record.title,
            record.body,
        ),
    )


def insert_messages(connection: sqlite3.Connection, messages: Sequence[NewMessage]) -> None:
    """Put notifications into the outbox."""
    for message in messages:
        insert_message(connection, message)


def insert_message(connection: sqlite3.Connection, message: NewMessage) -> int:
    """Put a notification into the outbox, in the caller's transaction; return its id there."""
    cursor = connection.execute(
        "INSERT INTO outbox(incident, kind, person, channel, created_us, not_before_us, title, body,"
        " priority) VALUES(:incident, :kind, :person, :channel, :created_us, :not_before_us, :title, :body,"
        " :priority)",
        asdict(message) | {"priority": message.priority.value},
    )
    return int(cursor.lastrowid or 0)


def record_planned_work(connection: sqlite3.Connection, works: Sequence[PlannedWork], number: int) -> None:
    """Keep which works are known from a commit on: others are withdrawn, new ones added."""
    known = {
        (tank, kind, from_us, to_us): row
        for row, tank, kind, from_us, to_us in connection.execute(
            "SELECT id, tank, kind, from_us, to_us FROM planned_work WHERE withdrawn_no IS NULL"
        )
    }
    wanted = {(work.tank, work.kind, work.from_us, work.to_us) for work in works}
    connection.executemany(
        "UPDATE planned_work SET withdrawn_no = ? WHERE id = ?",
        [(number, row) for key, row in known.items() if key not in wanted],
    )
    connection.executemany(
        "INSERT INTO planned_work(commit_no, tank, kind, from_us, to_us) VALUES(?, ?, ?, ?, ?)",
        [(number, *key) for key in sorted(wanted - known.keys())],
    )


def _json(value: object) -> str:
    # Evidence may carry numpy's numbers; a NaN becomes null.
    return orjson.dumps(value, option=orjson.OPT_SERIALIZE_NUMPY).decode()
