"""What happened, as the pages and a restart ask for it: alarms, incidents, deliveries, bad payloads."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass, fields
from typing import Any, NamedTuple

import orjson

from collector.alarm_record import LifeChange, RingTest, ThreadRecord
from collector.messages import FailingChannel, Message, Try
from collector.recurrence import RecurringWork
from collector.requests import Request
from collector.reviews import Wanted
from collector.store.commit import BoardState, IncidentRecord
from collector.store.conflicts import conflict_counts
from collector.store.outbox import FAILING, MESSAGE_COLUMNS, failing_of
from collector.store.requests import imported_works, waiting_requests
from collector.store.reviews import BaselineVersion, ReviewQueries, condition_of
from collector.store.tellings import (
    acknowledged_after_us,
    alarm_lives,
    last_life_changes,
    test_rings,
    threads,
)
from rules import (
    AlarmEvent,
    AlarmKey,
    AlarmLife,
    AlarmRaised,
    AlarmReturned,
    Evidence,
    Incident,
    PlannedWork,
    Priority,
    Reason,
    Rival,
    Sign,
)

_INCIDENT = (
    "SELECT number, tank, cause, series, priority, first_evidence_us, alarmed_at_us, ended_at_us, evidence,"
    " alarms, title, body, tellings.incident, state, who, tellings.at_us, until_us"
    " FROM incidents LEFT JOIN tellings ON tellings.incident = number"
)
_ALARM = (
    "SELECT at_us, tank, series, cause, kind, priority, first_evidence_us, value, concerns, evidence"
    " FROM alarm_events"
)
_NEWEST = "SELECT max(id) FROM alarm_events GROUP BY tank, series, cause"
_STANDS = (
    "CASE WHEN state = 'given_up' AND moved_to IS NOT NULL THEN 'moved'"
    " WHEN state = 'given_up' AND withdrawn_us IS NOT NULL THEN 'withdrawn' ELSE state END"
)
_EVIDENCE = frozenset(field.name for field in fields(Evidence))


@dataclass(frozen=True, slots=True)
class IncidentHistory:
    """An incident with the alarm events of its alarms while it was open, oldest first."""

    record: IncidentRecord
    events: tuple[AlarmEvent, ...]


@dataclass(frozen=True, slots=True)
class Delivery:
    """A message, each try to send it, and where it stands: waiting, done, given_up, moved or withdrawn."""

    message: Message
    state: str
    tries: tuple[Try, ...]


@dataclass(frozen=True, slots=True)
class RejectedSource:
    """Payloads of one source that could not be read: how many, since when, the newest reason and sample."""

    source: str
    count: int
    first_us: int
    last_us: int
    reason: str
    payload: bytes


class Conflict(NamedTuple):
    """A second value that came for the instant of a stored reading; `series` is an id."""

    series: int
    observed_us: int
    value: float | None
    received_us: int
    payload: bytes


class HeatModelVersion(NamedTuple):
    """One fitted model of a tank's heat; `data` is what `form` says."""

    tank: str
    applies_from_us: int
    fitted_us: int
    form: str
    data: dict[str, Any]


class History(ReviewQueries):
    """Queries over what happened, on a connection that the subclass opens."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    def incidents(self, last: int | None = None, *, open_only: bool = False) -> tuple[IncidentRecord, ...]:
        """Incidents, newest first; the `last` ones of them if given."""
        where = " WHERE ended_at_us IS NULL" if open_only else ""
        rows = self._connection.execute(
            f"{_INCIDENT}{where} ORDER BY number DESC LIMIT ?", (-1 if last is None else last,)
        )
        return tuple(_incident(row) for row in rows)

    def find_incidents(self, wanted: Wanted, last: int, skip: int = 0) -> tuple[IncidentRecord, ...]:
        """The newest incidents of those that are wanted, newest first, without the first `skip`."""
        condition, values = condition_of(wanted)
        rows = self._connection.execute(
            f"{_INCIDENT} WHERE {condition} ORDER BY number DESC LIMIT ? OFFSET ?", (*values, last, skip)
        )
        return tuple(_incident(row) for row in rows)

    def incident(self, number: int) -> IncidentHistory:
        """One incident and its alarm events; KeyError if there is none of that number."""
        row = self._connection.execute(f"{_INCIDENT} WHERE number = ?", (number,)).fetchone()
        if row is None:
            raise KeyError(number)
        record = _incident(row)
        incident = record.incident
        rows = self._connection.execute(
            f"{_ALARM} WHERE tank = ? AND at_us >= ? AND at_us <= ? ORDER BY id",
            (
                incident.tank,
                incident.alarmed_at_us,
                2**63 - 1 if incident.ended_at_us is None else incident.ended_at_us,
            ),
        )
        events = (_alarm(one) for one in rows)
        return IncidentHistory(record, tuple(event for event in events if event.alarm in incident.alarms))

    def open_incidents(self) -> tuple[Incident, ...]:
        """The incidents that have not ended, oldest first, as the engine is given them at a restart."""
        return tuple(record.incident for record in reversed(self.incidents(open_only=True)))

    @property
    def last_incident_number(self) -> int:
        """The highest incident number given so far; 0 if none."""
        return int(self._connection.execute("SELECT ifnull(max(number), 0) FROM incidents").fetchone()[0])

    def open_alarms(self) -> tuple[AlarmRaised, ...]:
        """The alarms whose last event is that they were raised, in the order in which they were."""
        rows = self._connection.execute(f"{_ALARM} WHERE kind = 'raised' AND id IN ({_NEWEST}) ORDER BY id")
        return tuple(event for event in map(_alarm, rows) if isinstance(event, AlarmRaised))

    def alarm_events(self, start_us: int, end_us: int) -> tuple[AlarmEvent, ...]:
        """Alarm events whose instant lies in a range, in the order in which they were committed."""
        rows = self._connection.execute(
            f"{_ALARM} WHERE at_us >= ? AND at_us < ? ORDER BY id", (start_us, end_us)
        )
        return tuple(_alarm(row) for row in rows)

    def deliveries(self, incident: int) -> tuple[Delivery, ...]:
        """The messages sent or to be sent about an incident, oldest first, with each try."""
        found = []
        messages = self._connection.execute(
            f"SELECT {MESSAGE_COLUMNS}, {_STANDS} FROM outbox WHERE incident = ? ORDER BY id",  # noqa: S608
            (incident,),
        ).fetchall()
        for *row, state in messages:
            message = Message.of_row(row)
            tries = self._connection.execute(
                "SELECT id, started_us, ended_us, outcome, reason FROM tries WHERE outbox_id = ? ORDER BY id",
                (message.id,),
            )
            found.append(Delivery(message, state, tuple(Try(*one) for one in tries)))
        return tuple(found)

    def rings(self, start_us: int, end_us: int) -> tuple[tuple[int, str], ...]:
        """When an incident rang in a range, and its tank: once for all channels of one telling.

        What has the lowest priority is told quietly, and is none.
        """
        rows = self._connection.execute(
            "SELECT min(ended_us) AS rung_us, tank FROM tries JOIN outbox ON outbox.id = outbox_id"
            " JOIN incidents ON number = incident WHERE outcome = 'delivered' AND outbox.priority != 'low'"
            " GROUP BY incident, kind, created_us HAVING rung_us >= ? AND rung_us < ? ORDER BY rung_us",
            (start_us, end_us),
        )
        return tuple((int(rung_us), str(tank)) for rung_us, tank in rows)

    def rejected(self) -> tuple[RejectedSource, ...]:
        """Sources of payloads that could not be read, the latest first."""
        rows = self._connection.execute(
            "SELECT source, count, first_us, last_us, reason, payload FROM rejected ORDER BY last_us DESC"
        )
        return tuple(RejectedSource(*row) for row in rows)

    @property
    def conflict_count(self) -> int:
        """How many second values came for the instant of a stored reading."""
        return sum(conflict_counts(self._connection))

    @property
    def conflicts_not_kept(self) -> int:
        """How many of them were only counted, see `collector.store.conflicts`."""
        return conflict_counts(self._connection)[1]

    def conflicts(self, last: int = 100) -> tuple[Conflict, ...]:
        """The latest of those that are kept, newest first."""
        rows = self._connection.execute(
            "SELECT series, observed_us, value, received_us, payload FROM conflicts ORDER BY id DESC LIMIT ?",
            (last,),
        )
        return tuple(Conflict(*row) for row in rows)

    def boards(self) -> tuple[BoardState, ...]:
        """Whether each board that was heard of is connected, and since when."""
        rows = self._connection.execute(
            "SELECT tank, name, is_online, since_us FROM boards"
            " WHERE id IN (SELECT max(id) FROM boards GROUP BY tank, name) ORDER BY tank, name"
        )
        return tuple(BoardState(tank, name, bool(is_online), since) for tank, name, is_online, since in rows)

    def failing_channels(self) -> tuple[FailingChannel, ...]:
        """The channels that do not work, and since when."""
        return failing_of(self._connection.execute(FAILING))

    def known_works(self) -> tuple[PlannedWork, ...]:
        """The planned works that the engine knows now, in order of time."""
        rows = self._connection.execute(
            "SELECT tank, kind, from_us, to_us FROM planned_work WHERE withdrawn_no IS NULL"
            " ORDER BY from_us, id"
        )
        return tuple(PlannedWork(*row) for row in rows)

    def waiting_requests(self) -> tuple[Request, ...]:
        """What people ask the service for and it has not done yet, in the order in which they asked."""
        return waiting_requests(self._connection)

    def imported_works(self) -> tuple[RecurringWork, ...]:
        """What came out of the last file that was imported for each tank."""
        return imported_works(self._connection)

    def once_known_works(self, from_us: int) -> tuple[PlannedWork, ...]:
        """Planned works that begin then or later, those withdrawn included."""
        rows = self._connection.execute(
            "SELECT tank, kind, from_us, to_us FROM planned_work WHERE from_us >= ? ORDER BY id", (from_us,)
        )
        return tuple(PlannedWork(*row) for row in rows)

    def works(self, tank: str, start_us: int, end_us: int) -> tuple[PlannedWork, ...]:
        """Planned works on a tank that touch a range, without those withdrawn before their end."""
        rows = self._connection.execute(
            "SELECT tank, kind, from_us, to_us FROM planned_work AS one"
            " WHERE to_us > ? AND from_us < ? AND tank = ? AND ("
            "withdrawn_no IS NULL OR (SELECT committed_us FROM commits WHERE no = withdrawn_no) >= to_us)"
            " ORDER BY from_us, id",
            (start_us, end_us, tank),
        )
        return tuple(PlannedWork(*row) for row in rows)

    def alarm_lives(self) -> dict[AlarmKey, AlarmLife]:
        """What every alarm that was ever heard of is now; without a cause, the whole series."""
        return alarm_lives(self._connection)

    def acknowledged_after_us(self, start_us: int, end_us: int) -> tuple[int, ...]:
        """How long after it was raised each alarm was acknowledged that was in a range."""
        return acknowledged_after_us(self._connection, start_us, end_us)

    def last_life_changes(self) -> tuple[LifeChange, ...]:
        """The last step of every alarm that was ever heard of."""
        return last_life_changes(self._connection)

    def threads(self) -> tuple[str, ...]:
        """The tellings of incidents that are not over, as `collector.telling` recorded them."""
        return threads(self._connection)

    @property
    def first_commit_us(self) -> int | None:
        """When the first commit was made; None before it."""
        row = self._connection.execute("SELECT committed_us FROM commits ORDER BY no LIMIT 1").fetchone()
        return None if row is None else int(row[0])

    def test_rings(self) -> tuple[RingTest, ...]:
        """The last test ring of each person."""
        return test_rings(self._connection)

    def baselines(self, from_us: int) -> tuple[BaselineVersion, ...]:
        """Baseline versions in force at an instant or applied later, in the order of application."""
        rows = self._connection.execute(
            "SELECT series, applies_from_us, fitted_us, form, data FROM baselines AS one"
            " WHERE applies_from_us > ? OR id = (SELECT id FROM baselines WHERE series = one.series"
            " AND applies_from_us <= ? ORDER BY applies_from_us DESC, id DESC LIMIT 1)"
            " ORDER BY applies_from_us, id",
            (from_us, from_us),
        )
        return tuple(
            BaselineVersion(series, applies_from_us, fitted_us, form, orjson.loads(data))
            for series, applies_from_us, fitted_us, form, data in rows
        )

    def heat_models(self, from_us: int) -> tuple[HeatModelVersion, ...]:
        """The same of the models of the tanks' heat."""
        rows = self._connection.execute(
            "SELECT tank, applies_from_us, fitted_us, form, data FROM heat_models AS one"
            " WHERE applies_from_us > ? OR id = (SELECT id FROM heat_models WHERE tank = one.tank"
            " AND applies_from_us <= ? ORDER BY applies_from_us DESC, id DESC LIMIT 1)"
            " ORDER BY applies_from_us, id",
            (from_us, from_us),
        )
        return tuple(
            HeatModelVersion(tank, applies_from_us, fitted_us, form, orjson.loads(data))
            for tank, applies_from_us, fitted_us, form, data in rows
        )


def _evidence(text: str) -> Evidence:
    # Fields that an older or newer version knew are passed over; missing ones keep their None.
    known = {key: value for key, value in orjson.loads(text).items() if key in _EVIDENCE}
    known["reasons"] = tuple(_reason(one) for one in known.get("reasons", ()) if isinstance(one, dict))
    known["rivals"] = tuple(Rival(one["cause"], one["confidence"]) for one in known.get("rivals", ()))
    return Evidence(**known)


def _reason(known: dict[str, Any]) -> Reason:
    return Reason(**{**known, "sign": Sign(known["sign"])})


def _alarm(row: tuple[Any, ...]) -> AlarmEvent:
    at_us, tank, series, cause, kind, priority, first_evidence_us, value, concerns, evidence = row
    key = AlarmKey(tank, series, cause)
    if kind == "returned":
        return AlarmReturned(at_us, key, value)
    return AlarmRaised(
        at_us,
        key,
        Priority(priority),
        first_evidence_us,
        concerns=tuple(orjson.loads(concerns)),
        evidence=_evidence(evidence),
    )


def _incident(row: tuple[Any, ...]) -> IncidentRecord:
    number, tank, cause, series, priority, first_us, alarmed_us, ended_us, evidence, alarms = row[:10]
    title, body, told, *answer = row[10:]
    incident = Incident(
        number=number,
        tank=tank,
        cause=cause,
        series=tuple(orjson.loads(series)),
        priority=Priority(priority),
        first_evidence_us=first_us,
        alarmed_at_us=alarmed_us,
        ended_at_us=ended_us,
        evidence=_evidence(evidence),
        alarms=tuple(AlarmKey(*alarm) for alarm in orjson.loads(alarms)),
    )
    return IncidentRecord(incident, title, body, None if told is None else ThreadRecord(told, *answer))
