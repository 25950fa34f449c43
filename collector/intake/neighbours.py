"""What the loop of the service needs of its neighbours, written down: the service brings them together."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple, Protocol, TypeAlias

from collector.alarm_record import LifeChange, RingTest, ThreadRecord, Withdrawal
from collector.messages import NewMessage
from collector.mqtt import Receipt, Received
from collector.store import Commit, Committed, IncidentRecord
from rules import Event


class Line(Protocol):
    """What the loop needs of the session with the broker."""

    @property
    def window(self) -> int:
        """How many messages the broker sends before it waits for acknowledgements."""
        ...

    @property
    def unacknowledged(self) -> int:
        """How many messages wait for theirs."""
        ...

    def receive(self, timeout_s: float) -> Received:
        """Wait at most so long for messages or a change of the connection."""
        ...

    def acknowledge(self, receipt: Receipt) -> None:
        """Tell the broker that all a receipt stands for is safe."""
        ...

    def mark(self) -> None:
        """Send a marker, which comes back behind everything that lies at the broker."""
        ...


class Keeper(Protocol):
    """What the loop needs of the store."""

    def commit(self, batch: Commit) -> Committed:
        """Make a batch durable, all or nothing; StoreError if the store refuses."""
        ...

    def forget_arrivals(self) -> None:
        """Empty the list of arrival times given."""
        ...


class Unstored(Protocol):
    """What the loop needs of the outbox that rings while the store refuses."""

    def add(self, messages: Sequence[NewMessage]) -> None:
        """Ring these although they are not stored."""
        ...

    def claim(self, messages: Sequence[NewMessage]) -> Sequence[NewMessage] | None:
        """Those of them that nobody was told yet, for the store; None while one is being sent."""
        ...

    def release(self) -> None:
        """Ring on with what was claimed: the store has refused it."""
        ...

    def withdraw(self, messages: Sequence[NewMessage]) -> None:
        """Leave these to the store's own outbox."""
        ...

    def call_off(self, withdrawals: Sequence[Withdrawal]) -> None:
        """Ring no more with what is needed no more."""
        ...


class LineState(NamedTuple):
    """How the service stands with its broker and its store.

    `since_us` is None where it never was connected, `refused_since_us` while the store takes what comes.
    """

    is_connected: bool
    since_us: int | None
    is_catching_up: bool
    refused_since_us: int | None = None


class Telling(NamedTuple):
    """What events and the time mean for people: how incidents read, who is told, what is to be recorded."""

    records: Sequence[IncidentRecord] = ()
    messages: Sequence[NewMessage] = ()
    withdrawals: Sequence[Withdrawal] = ()
    lives: Sequence[LifeChange] = ()
    threads: Sequence[ThreadRecord] = ()
    test_rings: Sequence[RingTest] = ()


# Called for every commit, with all that the engine said, in its order.
Tell: TypeAlias = Callable[[Sequence[Event], int], Telling]
