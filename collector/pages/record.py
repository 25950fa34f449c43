"""What the pages ask of the record of readings and incidents, and of the link to the broker.

The store's reader has this shape; the pages know the shape alone, so that neither imports the other.
Ranges are half open, instants are microseconds since 1970 UTC, `series` is an id in the record.
"""

# ruff: noqa: D102 (what the fields are is in the docstring of their class)

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple, Protocol, TypeAlias

from collector.alarm_record import LifeChange, ThreadRecord
from collector.messages import Message, Try
from collector.recurrence import RecurringWork
from collector.reviews import Note, Verdict, Wanted
from rules import (
    AlarmEvent,
    AlarmKey,
    FlagArray,
    FloatArray,
    Incident,
    IntArray,
    Learning,
    PlannedWork,
    PoorFit,
    Suppressed,
    WeekProfile,
)


class Series(Protocol):
    """A series and its id."""

    @property
    def id(self) -> int: ...
    @property
    def tank(self) -> str: ...
    @property
    def name(self) -> str: ...


class LatestReading(Protocol):
    """The newest reading of a series; `value` is None where nothing was measured."""

    @property
    def series(self) -> Series: ...
    @property
    def observed_us(self) -> int: ...
    @property
    def value(self) -> float | None: ...
    @property
    def flag(self) -> int: ...
    @property
    def mark(self) -> int: ...


class Buckets(Protocol):
    """Low, mean and high of usable values per bucket, shape (n,); NaN where `counts` is 0."""

    @property
    def starts_us(self) -> IntArray: ...
    @property
    def low(self) -> FloatArray: ...
    @property
    def mean(self) -> FloatArray: ...
    @property
    def high(self) -> FloatArray: ...
    @property
    def counts(self) -> IntArray: ...


class Readings(Protocol):
    """Columns of shape (n,), in order of time: instants, values (NaN: not measured), primary flags."""

    @property
    def times_us(self) -> IntArray: ...
    @property
    def values(self) -> FloatArray: ...
    @property
    def flags(self) -> FlagArray: ...


class UsualVersion(Protocol):
    """What was learned of a series, and from when on it judged."""

    @property
    def applies_from_us(self) -> int: ...
    @property
    def form(self) -> str: ...
    @property
    def data(self) -> dict[str, Any]: ...


class IncidentRecord(Protocol):
    """An incident with the words that a person was told."""

    @property
    def incident(self) -> Incident: ...
    @property
    def title(self) -> str: ...
    @property
    def body(self) -> str: ...
    @property
    def answer(self) -> ThreadRecord | None: ...


class IncidentHistory(Protocol):
    """An incident and its alarm events, oldest first."""

    @property
    def record(self) -> IncidentRecord: ...
    @property
    def events(self) -> Sequence[AlarmEvent]: ...


class Delivery(Protocol):
    """A message, each try to send it, and where it stands: waiting, done, given_up, moved or withdrawn."""

    @property
    def message(self) -> Message: ...
    @property
    def state(self) -> str: ...
    @property
    def tries(self) -> Sequence[Try]: ...


class Board(Protocol):
    """Whether a board is connected, and since when."""

    @property
    def tank(self) -> str: ...
    @property
    def name(self) -> str: ...
    @property
    def is_online(self) -> bool: ...
    @property
    def since_us(self) -> int: ...


class Calibration(Protocol):
    """A calibration that somebody noted."""

    @property
    def tank(self) -> str: ...
    @property
    def series(self) -> str: ...
    @property
    def done_us(self) -> int: ...
    @property
    def due_us(self) -> int | None: ...
    @property
    def note(self) -> str: ...
    @property
    def who(self) -> str: ...


class LastMessage(Protocol):
    """The last message of a topic: when it came, the beginning of what it held, and its whole length."""

    @property
    def topic(self) -> str: ...
    @property
    def received_us(self) -> int: ...
    @property
    def payload(self) -> bytes: ...
    @property
    def length(self) -> int: ...


class Record(Protocol):
    """Everything that the pages read; usable from several threads at once."""

    def latest(self) -> Sequence[LatestReading]:
        """The newest reading of every series that has one."""
        ...

    def series_id(self, tank: str, name: str) -> int:
        """Id of a series; KeyError if it was never registered."""
        ...

    def buckets(self, series: int, start_us: int, end_us: int, count: int) -> Buckets:
        """At most `count` buckets, of what is here; a range longer than two days is read from rollups."""
        ...

    def incidents(self, last: int | None = None, *, open_only: bool = False) -> Sequence[IncidentRecord]:
        """Incidents, newest first."""
        ...

    def find_incidents(self, wanted: Wanted, last: int, skip: int = 0) -> Sequence[IncidentRecord]:
        """The newest of the incidents that are wanted, newest first, without the first `skip`."""
        ...

    def verdicts(self, incidents: Sequence[int] | None = None) -> Mapping[int, Verdict]:
        """What was said last of incidents, by number."""
        ...

    def notes(self, incident: int) -> Sequence[Note]:
        """Notes on an incident, oldest first."""
        ...

    def life_changes(self, alarms: Sequence[AlarmKey], start_us: int, end_us: int) -> Sequence[LifeChange]:
        """Steps in the lives of alarms in a range."""
        ...

    def usual_versions(self, series: int, start_us: int, end_us: int) -> Sequence[UsualVersion]:
        """What was learned of a series and judged at some time in a range, in order of application."""
        ...

    def all_readings(self, series: int, start_us: int, end_us: int) -> tuple[Readings, str]:
        """Every reading of a series in a range, whatever its flag; a sentence about what is missing, or "".

        What is old may come from a database, which is waited for, for some seconds at most.
        """
        ...

    def chart(self, series: int, start_us: int, end_us: int, count: int) -> tuple[Buckets, str]:
        """As `buckets`, and as fine as `all_readings` allows; what is missing, as that says it."""
        ...

    def works(self, tank: str, start_us: int, end_us: int) -> Sequence[PlannedWork]:
        """Planned works on a tank that touch a range."""
        ...

    def incident(self, number: int) -> IncidentHistory:
        """One incident; KeyError if there is none of that number."""
        ...

    def deliveries(self, incident: int) -> Sequence[Delivery]:
        """The messages about an incident, oldest first."""
        ...

    def boards(self) -> Sequence[Board]:
        """Every board that was heard of."""
        ...

    def known_works(self) -> Sequence[PlannedWork]:
        """Planned works that are known, in order of time."""
        ...

    def imported_works(self) -> Sequence[RecurringWork]:
        """Works that came out of a calendar file."""
        ...

    def calibrations(self, last: int = 100) -> Sequence[Calibration]:
        """Calibrations, the newest first."""
        ...

    def flag_counts(self, series: int, start_us: int, end_us: int) -> Mapping[int, int]:
        """How many readings of a series have each primary flag."""
        ...

    def close(self) -> None:
        """Let go of the record."""
        ...


# Raises StoreError while there is nothing to read yet.
RecordFactory: TypeAlias = Callable[[], Record]


class BrokerState(NamedTuple):
    """How the service stands with its broker and its store.

    `since_us` is None where it never was connected, `refused_since_us` while the store takes what comes.
    """

    is_connected: bool
    since_us: int | None = None
    is_catching_up: bool = False
    refused_since_us: int | None = None


BrokerSource: TypeAlias = Callable[[], BrokerState]


class Standing(Protocol):
    """The newest fit of what is usual for a series, and when it was made."""

    @property
    def fitted(self) -> WeekProfile | Learning | PoorFit: ...
    @property
    def fitted_us(self) -> int: ...


# By index of the series in the configuration.
UsualSource: TypeAlias = Callable[[], Mapping[int, Standing]]
MessagesSource: TypeAlias = Callable[[], Sequence[LastMessage]]
SuppressedSource: TypeAlias = Callable[[], Sequence[Suppressed]]
