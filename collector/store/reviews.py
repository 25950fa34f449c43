"""What people said of incidents, and how incidents are found: by state, cause, verdict, span.

What was said is written when its request is done, in the same transaction.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from typing import Any, NamedTuple

import orjson

from collector.alarm_record import LifeChange
from collector.requests import Answer
from collector.reviews import AddNote, GiveVerdict, Note, StrikeNote, Verdict, Wanted
from collector.store.requests import asked_of
from collector.store.tellings import life_of
from rules import AlarmKey

_VERDICT = "SELECT incident, at_us, who, verdict, cause, began_us, ring_by_us FROM verdicts"
_LAST = "SELECT max(id) FROM verdicts GROUP BY incident"
# The row of the last verdict on an incident; an empty one was taken back.
_SAID = "(SELECT verdict FROM verdicts WHERE incident = number ORDER BY verdicts.id DESC LIMIT 1)"


class BaselineVersion(NamedTuple):
    """One fitted baseline; `series` is an id, `data` what `form` says."""

    series: int
    applies_from_us: int
    fitted_us: int
    form: str
    data: dict[str, Any]


def condition_of(wanted: Wanted) -> tuple[str, list[object]]:
    """Which rows of incidents and tellings are wanted: a condition of SQL and its values."""
    parts: list[str] = []
    values: list[object] = []
    if wanted.state in ("open", "ended"):
        parts.append(f"ended_at_us IS {'NOT ' if wanted.state == 'ended' else ''}NULL")
    elif wanted.state:
        # Told of by a version that recorded no state, it counts as not seen.
        parts.append(
            "ifnull(state, CASE WHEN ended_at_us IS NULL THEN 'unacknowledged'"
            " ELSE 'returned to normal, unacknowledged' END) = ?"
        )
        values.append(wanted.state)
    if wanted.verdict:
        parts.append(f"ifnull({_SAID}, '') = ?")
        values.append("" if wanted.verdict == "none" else wanted.verdict)
    for name, value in (("tank", wanted.tank), ("cause", wanted.cause), ("priority", wanted.priority)):
        if value:
            parts.append(f"incidents.{name} = ?")
            values.append(value)
    if wanted.from_us is not None:
        parts.append("(ended_at_us IS NULL OR ended_at_us >= ?)")
        values.append(wanted.from_us)
    if wanted.to_us is not None:
        parts.append("first_evidence_us < ?")
        values.append(wanted.to_us)
    return " AND ".join(parts) or "1", values


def record_reviews(connection: sqlite3.Connection, answers: Sequence[Answer], number: int) -> None:
    """Keep what the requests that were done with a commit say of incidents, in the caller's transaction."""
    for answer in answers:
        row = None
        if answer.is_done:
            row = connection.execute(
                "SELECT asked_us, who, asked FROM requests WHERE id = ?"
                " AND json_extract(asked, '$.do') IN ('give_verdict', 'add_note', 'strike_note')",
                (answer.request,),
            ).fetchone()
        if row is None:
            continue
        at_us, who, asked = row[0], row[1], asked_of(row[2])
        if isinstance(asked, GiveVerdict):
            connection.execute(
                "INSERT INTO verdicts(commit_no, incident, at_us, who, verdict, cause, began_us, ring_by_us)"
                " VALUES(?, ?, ?, ?, ?, ?, ?, ?)",
                (
                    number,
                    asked.incident,
                    at_us,
                    who,
                    asked.verdict,
                    asked.cause,
                    asked.began_us,
                    asked.ring_by_us,
                ),
            )
        elif isinstance(asked, AddNote):
            connection.execute(
                "INSERT INTO notes(commit_no, incident, at_us, who, text) VALUES(?, ?, ?, ?, ?)",
                (number, asked.incident, at_us, who, asked.text),
            )
        elif isinstance(asked, StrikeNote):
            connection.execute(
                "UPDATE notes SET struck_us = ?, struck_by = ?"
                " WHERE id = ? AND incident = ? AND struck_us IS NULL",
                (at_us, who, asked.note, asked.incident),
            )


class ReviewQueries:
    """Queries over what was said and how alarms lived, on a connection that the subclass opens."""

    _connection: sqlite3.Connection

    def verdicts(self, incidents: Sequence[int] | None = None) -> dict[int, Verdict]:
        """What was said last, by incident; without those taken back. None: of all incidents."""
        where = ""
        values: tuple[int, ...] = ()
        if incidents is not None:
            where = f" AND incident IN ({', '.join('?' * len(incidents))})"
            values = tuple(incidents)
        rows = self._connection.execute(
            f"{_VERDICT} WHERE id IN ({_LAST}) AND verdict != ''{where} ORDER BY incident", values
        )
        return {row[0]: Verdict(*row) for row in rows}

    def notes(self, incident: int) -> tuple[Note, ...]:
        """Notes on an incident, oldest first, struck ones too."""
        rows = self._connection.execute(
            "SELECT incident, at_us, who, text, id, struck_us, struck_by FROM notes"
            " WHERE incident = ? ORDER BY id",
            (incident,),
        )
        return tuple(Note(*row) for row in rows)

    def usual_versions(self, series: int, start_us: int, end_us: int) -> tuple[BaselineVersion, ...]:
        """Baselines of a series in force at an instant or applied until another, in order of application."""
        rows = self._connection.execute(
            "SELECT series, applies_from_us, fitted_us, form, data FROM baselines WHERE series = :series"
            " AND applies_from_us < :end AND applies_from_us >= ifnull((SELECT max(applies_from_us)"
            " FROM baselines WHERE series = :series AND applies_from_us <= :start), :start)"
            " ORDER BY applies_from_us, id",
            {"series": series, "start": start_us, "end": end_us},
        )
        return tuple(
            BaselineVersion(number, applies_from_us, fitted_us, form, orjson.loads(data))
            for number, applies_from_us, fitted_us, form, data in rows
        )

    def life_changes(self, alarms: Sequence[AlarmKey], start_us: int, end_us: int) -> tuple[LifeChange, ...]:
        """Steps in the lives of alarms in a range, and of the whole series of each, in their order."""
        keys = dict.fromkeys([*alarms, *(AlarmKey(one.tank, one.series, "") for one in alarms)])
        found = []
        for tank, series, cause in ((one.tank, one.series, one.cause) for one in keys):
            rows = self._connection.execute(
                "SELECT id, at_us, step, life, who, why FROM alarm_life"
                " WHERE tank = ? AND series = ? AND cause = ? AND at_us >= ? AND at_us < ? ORDER BY id",
                (tank, series, cause, start_us, end_us),
            )
            found += [(row[0], AlarmKey(tank, series, cause), row) for row in rows]
        return tuple(
            LifeChange(key, at_us, step, life_of(life), who, why)
            for _, key, (_, at_us, step, life, who, why) in sorted(found, key=lambda one: one[0])
        )
