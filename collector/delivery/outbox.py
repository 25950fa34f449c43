"""What delivery needs of the store's outbox, written down: the service brings the two together."""

from __future__ import annotations

from typing import Protocol

from collector.messages import Message, Outcome, Try


class Outbox(Protocol):
    """What the worker needs of the store's outbox; its methods may be called from any thread."""

    def due(self, now_us: int, limit: int = ...) -> tuple[Message, ...]:
        """Messages that wait and may be sent by then."""
        ...

    def record_try_started(self, message: int, started_us: int) -> int:
        """Make durable that sending begins; return the number of the try."""
        ...

    def record_try_ended(
        self,
        number: int,
        ended_us: int,
        outcome: Outcome,
        reason: str = ...,
        *,
        retry_at_us: int | None = ...,
    ) -> None:
        """Make durable how a try ended; DELIVERED also marks the message done."""
        ...

    def give_up(self, message: int) -> None:
        """Send a message no more."""
        ...

    def unfinished_tries(self) -> tuple[tuple[Try, Message], ...]:
        """Tries that have no end."""
        ...
