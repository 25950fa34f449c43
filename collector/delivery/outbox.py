"""What delivery needs of the store's outbox, written down: the service brings the two together."""

from __future__ import annotations

from typing import Protocol

from collector.messages import Detour, FailingChannel, Handed, Message, NewMessage, Outcome, Route, Try


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
        detour: Detour | None = ...,
        report: NewMessage | None = ...,
    ) -> None:
        """Make durable, all at once, how a try ended and what follows of it.

        DELIVERED marks the message done and its channel as working. A `detour` lets a message that still
        waits go on over another channel; a `report` that the channel fails joins what waits.
        """
        ...

    def give_up(self, message: int) -> None:
        """Send a message no more."""
        ...

    def routes(self, message: Message) -> tuple[Route, ...]:
        """Every channel over which the same person is told the same, in the order of their use."""
        ...

    def failing(self) -> tuple[FailingChannel, ...]:
        """Channels that failed and have not worked since."""
        ...

    def handed(self, since_us: int) -> tuple[Handed, ...]:
        """Tries begun since then that have arrived, or may have, in order of time."""
        ...

    def unfinished_tries(self) -> tuple[tuple[Try, Message], ...]:
        """Tries that have no end."""
        ...
