"""Messages for people while the store refuses: kept in memory, and rung all the same.

A full disk must not silence a failing heater. What was delivered from here is taken out of the commit
that waits; what was not goes into the store with it and is delivered from there.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Iterator, Sequence
from dataclasses import replace

from collector.alarm_record import Withdrawal
from collector.messages import Detour, FailingChannel, Handed, Message, NewMessage, Outcome, Route, Try

_LOG = logging.getLogger(__name__)


class UnstoredMessages:
    """An outbox in memory; its methods may be called from any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._waiting: dict[int, Message] = {}
        self._numbers: dict[NewMessage, int] = {}
        self._been_to: dict[int, list[str]] = {}
        self._delivered: set[int] = set()
        self._sending: set[int] = set()
        self._claimed: set[int] = set()
        self._tries: list[int] = []

    # -- the loop's side ---------------------------------------------------------------------------

    def add(self, messages: Sequence[NewMessage]) -> None:
        """Take messages that the store refused; those already here are left alone."""
        with self._lock:
            for new in messages:
                if new in self._numbers:
                    continue
                number = len(self._numbers) + 1
                self._numbers[new] = number
                self._been_to[number] = [new.channel]
                self._waiting[number] = Message(
                    number,
                    new.incident,
                    new.kind,
                    new.person,
                    new.channel,
                    new.created_us,
                    new.not_before_us,
                    new.title,
                    new.body,
                    new.priority,
                    tries=0,
                )

    def claim(self, messages: Sequence[NewMessage]) -> Sequence[NewMessage] | None:
        """Those of the messages that nobody was told from here, and are not sent until `release`.

        None while one is being sent: in both places, it would be told twice.
        """
        with self._lock:
            numbers = {self._numbers[new] for new in messages if new in self._numbers}
            if numbers & self._sending:
                return None
            self._claimed = numbers
            return [new for new in messages if self._numbers.get(new, 0) not in self._delivered]

    def release(self) -> None:
        """The store has refused what was claimed."""
        with self._lock:
            self._claimed = set()

    def withdraw(self, messages: Sequence[NewMessage]) -> None:
        """Send these no more from here: they are in the store."""
        with self._lock:
            for new in messages:
                self._waiting.pop(self._numbers.get(new, 0), None)
            self._claimed = set()

    def call_off(self, withdrawals: Sequence[Withdrawal]) -> None:
        """Send these no more: they are needed no more. What is being sent is spared."""
        with self._lock:
            for one in withdrawals:
                for message in list(self._waiting.values()):
                    if _is_meant(message, one) and message.id not in self._sending:
                        del self._waiting[message.id]

    # -- the delivery worker's side ----------------------------------------------------------------

    def due(self, now_us: int, limit: int = 100) -> tuple[Message, ...]:
        """Messages that wait and may be sent by then, in the order in which they came."""
        with self._lock:
            waiting = (one for one in self._waiting.values() if one.id not in self._claimed)
            return tuple(one for one in waiting if one.not_before_us <= now_us)[:limit]

    def record_try_started(self, message: int, started_us: int) -> int:  # noqa: ARG002 - nothing is kept
        """Return a number for the try."""
        with self._lock:
            self._tries.append(message)
            self._sending.add(message)
            return len(self._tries) - 1

    def record_try_ended(
        self,
        number: int,
        ended_us: int,  # noqa: ARG002 - nothing is kept
        outcome: Outcome,
        reason: str = "",
        *,
        retry_at_us: int | None = None,
        detour: Detour | None = None,
        report: NewMessage | None = None,  # noqa: ARG002 - nobody is told of a channel from here
    ) -> None:
        """Take note of what became of a try, in the log at least."""
        with self._lock:
            message = self._waiting.get(self._tries[number])
            self._sending.discard(self._tries[number])
            if outcome is Outcome.DELIVERED:
                self._delivered.add(self._tries[number])
                self._waiting.pop(self._tries[number], None)
            elif message is not None:
                self._waiting[message.id] = self._after_failure(message, outcome, retry_at_us, detour)
        if message is not None:
            said = "was delivered" if outcome is Outcome.DELIVERED else f"failed ({reason})"
            _LOG.warning(
                "rung past the store that refuses: %r to %s over %s %s",
                message.title,
                message.person,
                message.channel,
                said,
            )

    def _after_failure(
        self, message: Message, outcome: Outcome, retry_at_us: int | None, detour: Detour | None
    ) -> Message:
        if detour is not None:
            if detour.channel not in self._been_to[message.id]:
                self._been_to[message.id].append(detour.channel)
            message = replace(message, channel=detour.channel)
            retry_at_us = detour.not_before_us
        return replace(
            message,
            not_before_us=message.not_before_us if retry_at_us is None else retry_at_us,
            tries=message.tries + 1,
            may_repeat=message.may_repeat or outcome is Outcome.INTERRUPTED,
        )

    def give_up(self, message: int) -> None:
        """Send a message no more."""
        with self._lock:
            self._waiting.pop(message, None)

    def routes(self, message: Message) -> tuple[Route, ...]:
        """Every channel over which the same person is told the same, in the order of their use."""
        with self._lock:
            return tuple(
                route
                for new, number in self._numbers.items()
                if (new.incident, new.kind, new.person, new.created_us, new.title)
                == (message.incident, message.kind, message.person, message.created_us, message.title)
                for route in self._routes_of(number)
            )

    def _routes_of(self, number: int) -> Iterator[Route]:
        waiting = self._waiting.get(number)
        state = "waiting" if waiting is not None else "done" if number in self._delivered else "given_up"
        for channel in self._been_to[number]:
            is_there = waiting is None or waiting.channel == channel
            has_failed = waiting is not None and waiting.tries > 0
            yield Route(channel, state if is_there else "given_up", has_failed, number)

    def failing(self) -> tuple[FailingChannel, ...]:
        """None: what is not in the store is not remembered."""
        return ()

    def handed(self, since_us: int) -> tuple[Handed, ...]:  # noqa: ARG002 - see below
        """None: while the store refuses nothing is held back."""
        return ()

    def unfinished_tries(self) -> tuple[tuple[Try, Message], ...]:
        """None: nothing here outlives the service."""
        return ()


def _is_meant(message: Message, withdrawal: Withdrawal) -> bool:
    return (
        message.incident == withdrawal.incident
        and withdrawal.person in ("", message.person)
        and (not withdrawal.kinds or message.kind in withdrawal.kinds)
    )
