"""Messages for people while the store refuses: kept in memory, and rung all the same.

A full disk must not silence a failing heater. What was delivered from here is taken out of the commit
that waits; what was not goes into the store with it and is delivered from there.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Sequence
from dataclasses import replace

from collector.alarm_record import Withdrawal
from collector.messages import Message, NewMessage, Outcome, Try

_LOG = logging.getLogger(__name__)


class UnstoredMessages:
    """An outbox in memory; its methods may be called from any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._waiting: dict[int, Message] = {}
        self._numbers: dict[NewMessage, int] = {}
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
    ) -> None:
        """Take note of what became of a try, in the log at least."""
        with self._lock:
            message = self._waiting.get(self._tries[number])
            self._sending.discard(self._tries[number])
            if outcome is Outcome.DELIVERED:
                self._delivered.add(self._tries[number])
                self._waiting.pop(self._tries[number], None)
            elif message is not None and retry_at_us is not None:
                tries = message.tries + 1
                self._waiting[message.id] = replace(message, not_before_us=retry_at_us, tries=tries)
        if message is not None:
            said = "was delivered" if outcome is Outcome.DELIVERED else f"failed ({reason})"
            _LOG.warning(
                "rung past the store that refuses: %r to %s over %s %s",
                message.title,
                message.person,
                message.channel,
                said,
            )

    def give_up(self, message: int) -> None:
        """Send a message no more."""
        with self._lock:
            self._waiting.pop(message, None)

    def unfinished_tries(self) -> tuple[tuple[Try, Message], ...]:
        """None: nothing here outlives the service."""
        return ()


def _is_meant(message: Message, withdrawal: Withdrawal) -> bool:
    return (
        message.incident == withdrawal.incident
        and withdrawal.person in ("", message.person)
        and (not withdrawal.kinds or message.kind in withdrawal.kinds)
    )
