"""What one transaction carries into the store, and what comes back: frozen values, no database.

The loop of the service builds one `Commit` per round; everything in it becomes durable together or
not at all.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple, TypeAlias

from collector.alarm_record import LifeChange, RingTest, ThreadRecord, Withdrawal
from collector.messages import NewMessage
from collector.requests import Answer, Request
from rules import AlarmEvent, FlagRevised, Incident, PlannedWork

# series index, observed_us, value (NaN: not measured), primary flag, mark, delay_ms (received minus
# observed), packed per-test flags (0: all passed), raw payload. A plain tuple: the hot path makes
# thousands of them a second.
Row: TypeAlias = tuple[int, int, float, int, int, int, int, bytes]


class Arrival(NamedTuple):
    """The time that was given to a payload without one, so that a redelivery gets it again."""

    packet_id: int
    topic: str
    payload_hash: bytes
    observed_us: int


class BoardState(NamedTuple):
    """Whether a board is connected, and since when; a repetition of the same state keeps its instant."""

    tank: str
    name: str
    is_online: bool
    since_us: int


@dataclass(frozen=True, slots=True)
class Rejection:
    """Payloads of one source that could not be read: how many, when, why, and one sample.

    The count of a source adds up over commits. It may count a message twice that is redelivered after a
    crash: nothing depends on it.
    """

    source: str
    count: int
    first_us: int
    last_us: int
    reason: str
    payload: bytes


@dataclass(frozen=True, slots=True)
class IncidentRecord:
    """An incident as it is now, with the words that a person reads.

    `answer` is how its telling stands, as it was read; None where none was recorded. It is not written with
    the incident.
    """

    incident: Incident
    title: str
    body: str
    answer: ThreadRecord | None = None


@dataclass(frozen=True, slots=True)
class Commit:
    """Everything that one round of the loop makes durable, in one transaction.

    Parameters
    ----------
    committed_us
        Now, by the service's clock.
    engine_us
        The instant to which the engine was advanced after these rows; None while a backlog is taken in.
    ticked_us
        The instant to which time alone had brought it since the commit before; None if it had not.
    rows
        Readings, in any order; see `Row`.
    revised
        Verdicts on readings stored earlier or in `rows`.
    settled
        Packet ids whose arrivals are no longer needed: the broker has taken their acknowledgement.
    planned_work
        All works that the engine knows from this commit on; None where that has not changed.
    answers
        What became of the requests that this commit does.
    requests
        New ones, which wait from now on; one whose id is known is the same and changes nothing.
    refused
        Why others were not taken, for whoever asked; this is not kept.
    withdrawals
        Messages that are needed no more; done before `messages` are added.
    lives, threads, test_rings
        What has become of alarms, of the telling of incidents, and of test rings.
    notes
        Facts to remember, by key, in place of what was there; an empty one is as good as none.
    of_database
        The time-series database from which the rows came: it need not be sent them once more.
    """

    committed_us: int
    engine_us: int | None
    rows: Sequence[Row] = ()
    revised: Sequence[FlagRevised] = ()
    rejections: Sequence[Rejection] = ()
    arrivals: Sequence[Arrival] = ()
    settled: Sequence[int] = ()
    boards: Sequence[BoardState] = ()
    alarms: Sequence[AlarmEvent] = ()
    incidents: Sequence[IncidentRecord] = ()
    messages: Sequence[NewMessage] = ()
    planned_work: Sequence[PlannedWork] | None = None
    answers: Sequence[Answer] = ()
    requests: Sequence[Request] = ()
    refused: Sequence[Answer] = ()
    withdrawals: Sequence[Withdrawal] = ()
    lives: Sequence[LifeChange] = ()
    threads: Sequence[ThreadRecord] = ()
    test_rings: Sequence[RingTest] = ()
    notes: Mapping[str, str] = field(default_factory=dict)
    ticked_us: int | None = None
    of_database: str | None = None


class Committed(NamedTuple):
    """What became of a commit's rows: `inserted + duplicates + conflicts` is their number.

    A conflict that was stored before counts as a duplicate.
    """

    number: int
    inserted: int
    duplicates: int
    conflicts: int
