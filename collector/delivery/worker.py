"""The delivery worker: watches the outbox and sees each message through, whatever dies in between.

A try is recorded as started before the message leaves, and as ended when the channel's answer is in. If
this service or the sender process dies between the two, the end of the try is not known: the message
is sent again and says so. So a crash costs at most one repetition, and never a message. While the store
refuses to take note of tries, messages leave all the same, and their ends are noted when it works again.

The sender process is started when something is due and ends soon after nothing is.
"""

from __future__ import annotations

import logging
import queue
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import TracebackType
from typing import Any, Self, TypeAlias

from collector.clock import Clock
from collector.configuration import Configuration
from collector.delivery.channels import Sent, channel_names
from collector.delivery.child import Answer, Gone, Heard, Ready, SenderProcess, sender_command
from collector.delivery.masking import Mask
from collector.delivery.outbox import Outbox
from collector.delivery.retry import due_us, is_given_up, outgoing_body, retry_at_us
from collector.errors import StoreError
from collector.messages import Message, Outcome

logger = logging.getLogger(__name__)

ChannelKey: TypeAlias = tuple[str, str]

# Messages of one incident leave within one commit: a process kept this long serves them all, and one
# kept longer holds memory that the rest of the machine wants.
LINGER_S = 5.0
# apprise gives up on a channel after a minute; a process silent for longer hangs, and is ended.
PATIENCE_S = 120.0
# How soon work goes on after the store refused, and the first pause after a process that could not start.
PAUSE_S = 2.0
LONGEST_PAUSE_S = 300.0
# Instants are 64 bits: everything that waits is due by then.
_EVER_US = 2**62
_AT_MOST = 2000


@dataclass(slots=True)
class _Flight:
    """A message that was handed to the sender process."""

    message: Message
    started_us: int
    patience_ends_s: float
    sent: Sent | None = None


@dataclass(slots=True)
class _Process:
    """The sender process, while there is one."""

    process: SenderProcess
    patience_ends_s: float
    is_ready: bool = False
    is_killed: bool = False
    idle_since_s: float | None = None


class _Wake:
    """Said by `wake` and `close`."""


class DeliveryWorker:
    """Delivers what is in the outbox, on a thread of its own named "delivery".

    Parameters
    ----------
    configuration
        People and their channels.
    outbox
        The store's outbox; it is not closed here.
    clock
        The service's clock: retries and ages are counted in its time.
    command, picture
        Called for the command of each sender process, and for the sketch that goes with a message.
    linger_s, patience_s, pause_s
        See `LINGER_S`, `PATIENCE_S` and `PAUSE_S`; wall time.
    """

    def __init__(
        self,
        configuration: Configuration,
        outbox: Outbox,
        *,
        clock: Clock | None = None,
        command: Callable[[], Sequence[str]] = sender_command,
        picture: Callable[[Message], Mapping[str, Any] | None] = lambda _message: None,
        linger_s: float = LINGER_S,
        patience_s: float = PATIENCE_S,
        pause_s: float = PAUSE_S,
    ) -> None:
        self._urls: dict[ChannelKey, str] = {
            (person.name, channel): url
            for person in configuration.people
            for channel, url in zip(channel_names(person.urls), person.urls, strict=True)
        }
        self._mask = Mask(self._urls.values())
        self._outbox = outbox
        self._clock = clock or Clock()
        self._command, self._picture = command, picture
        self._linger_s, self._patience_s, self._pause_s = linger_s, patience_s, pause_s
        self._events: queue.SimpleQueue[Heard | _Wake] = queue.SimpleQueue()
        self._sender: _Process | None = None
        self._flights: dict[int, _Flight] = {}
        # What the store could not take note of: how many tries, and when to try a message again.
        self._unrecorded = 0
        self._put_off_to_us: dict[int, int] = {}
        self._failed_starts = 0
        self._start_from_s = 0.0
        self._knows_past = False
        self._close_by_s: float | None = None
        self._thread = threading.Thread(target=self._run, name="delivery")

    def start(self) -> None:
        """Begin; call it once, after the store has been opened."""
        self._thread.start()

    def wake(self) -> None:
        """Look at the outbox now: call it after a commit that holds messages. Returns at once."""
        self._events.put(_Wake())

    def close(self, timeout_s: float = 10.0) -> None:
        """Let what is being sent be finished, end the sender process and the thread.

        What is not finished by `timeout_s` is sent again after the next start, marked as a possible
        repetition.
        """
        self._close_by_s = time.monotonic() + timeout_s
        self.wake()
        if self._thread.ident is not None:
            self._thread.join()

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # -- the thread --------------------------------------------------------------------------------

    def _run(self) -> None:
        while not self._is_done():
            try:
                wait_s = self._step()
            except StoreError as error:
                logger.warning("delivery waits for the store: %s", error)
                wait_s = self._pause_s
            except Exception:  # the thread must live: who would tell that telling has ended?
                logger.exception("delivery failed at something unforeseen and goes on")
                wait_s = self._pause_s
            try:
                self._take(self._events.get(timeout=wait_s))
            except queue.Empty:
                continue
        if self._sender is not None:
            self._end(self._sender.process)

    def _is_done(self) -> bool:
        if self._close_by_s is None:
            return False
        return not self._flights or time.monotonic() >= self._close_by_s

    def _step(self) -> float | None:
        """Do what can be done now; return after how many seconds to look again, None for never."""
        self._settle_past()
        is_refused = self._record_ends()
        if self._close_by_s is not None:
            left_s = max(0.0, self._close_by_s - time.monotonic()) if self._flights else 0.0
            return min(left_s, self._pause_s)
        now_us = self._clock.now_us()
        due, next_us = self._due(now_us)
        if due:
            self._ensure_sender()
            if self._sender is not None and self._sender.is_ready:
                for message in due:
                    self._hand_over(self._sender.process, message)
                due = []
        self._dismiss_idle(has_work=bool(due))
        wait_s = self._wait_s(now_us, next_us, is_held_up=bool(due))
        return min(self._pause_s, wait_s or self._pause_s) if is_refused else wait_s

    def _settle_past(self) -> None:
        """Note, once, that the ends of tries before our time are not known."""
        if self._knows_past:
            return
        now_us = self._clock.now_us()
        for one, message in self._outbox.unfinished_tries():
            logger.warning(
                "message %d to %s over %s was being sent when the service stopped: it is sent again",
                message.id,
                message.person,
                message.channel,
            )
            self._outbox.record_try_ended(
                one.id, now_us, Outcome.INTERRUPTED, "the service stopped while this was being sent"
            )
        self._knows_past = True

    def _due(self, now_us: int) -> tuple[list[Message], int | None]:
        """Messages to send now, at most one a channel, and when the next one is due.

        Within a channel urgent ones go first, and what is told of one incident is told in order.
        """
        heads: dict[ChannelKey, Message] = {}
        told_first: set[tuple[ChannelKey, int]] = set()
        next_us: int | None = None
        flights = self._flights.values()
        busy = {(one.message.person, one.message.channel) for one in flights if one.sent is None}
        sent = {one.message.id for one in flights if one.sent is not None}
        for message in sorted(self._outbox.due(_EVER_US, _AT_MOST), key=lambda message: message.id):
            key = (message.person, message.channel)
            if message.id in sent or self._is_hopeless(message, now_us):
                continue
            if message.incident is not None:
                if (key, message.incident) in told_first:
                    continue
                told_first.add((key, message.incident))
            if key in busy:
                continue
            at_us = max(due_us(message, now_us), self._put_off_to_us.get(message.id, 0))
            if at_us > now_us:
                next_us = at_us if next_us is None else min(next_us, at_us)
            elif key not in heads or message.priority.rank > heads[key].priority.rank:
                heads[key] = message
        return list(heads.values()), next_us

    def _is_hopeless(self, message: Message, now_us: int) -> bool:
        """Give a message up that is too old, or whose channel is no longer configured; say whether."""
        if message.id in (flight.message.id for flight in self._flights.values()):
            return False
        is_reachable = (message.person, message.channel) in self._urls
        if is_reachable and not is_given_up(message, now_us):
            return False
        reason = "it is too old to be of help" if is_reachable else "this channel is no longer configured"
        try:
            if not is_reachable:
                number = self._outbox.record_try_started(message.id, now_us)
                self._outbox.record_try_ended(number, now_us, Outcome.FAILED, reason)
            self._outbox.give_up(message.id)
        except StoreError as error:
            logger.warning("message %d cannot be given up yet: %s", message.id, error)
            return True
        logger.warning(
            "message %d to %s over %s is given up: %s", message.id, message.person, message.channel, reason
        )
        return True

    def _hand_over(self, process: SenderProcess, message: Message) -> None:
        now_us = self._clock.now_us()
        try:
            number = self._outbox.record_try_started(message.id, now_us)
        except StoreError as error:
            # A full disk must not silence a failing heater.
            logger.warning("message %d is sent although that cannot be noted: %s", message.id, error)
            self._unrecorded += 1
            number = -self._unrecorded
        self._flights[number] = _Flight(message, now_us, time.monotonic() + self._patience_s)
        process.send(
            {
                "number": number,
                "url": self._urls[message.person, message.channel],
                "title": message.title,
                "body": outgoing_body(message, now_us),
                "priority": message.priority.value,
                "picture": self._picture(message),
            }
        )

    def _record_ends(self) -> bool:
        """Make durable what became of tries; return whether the store refuses to take note of one."""
        is_refused = False
        for number, flight in list(self._flights.items()):
            if flight.sent is None:
                continue
            message, sent = flight.message, flight.sent
            now_us = self._clock.now_us()
            again_us = None if sent.outcome is Outcome.DELIVERED else retry_at_us(message, now_us)
            try:
                if number < 0:
                    known = self._outbox.record_try_started(message.id, flight.started_us)
                    self._flights[known] = self._flights.pop(number)
                    number = known
                self._outbox.record_try_ended(number, now_us, sent.outcome, sent.reason, retry_at_us=again_us)
            except StoreError as error:
                logger.warning("delivery waits for the store: %s", error)
                is_refused = True
                if again_us is None:
                    continue
                self._put_off_to_us[message.id] = again_us
            del self._flights[number]
            where = f"message {message.id} to {message.person} over {message.channel}"
            if again_us is None:
                logger.info("%s delivered", where)
            else:
                again_s = (again_us - now_us) / 1e6
                logger.warning("%s not delivered, next try in %.0f s: %s", where, again_s, sent.reason)
        return is_refused

    # -- the sender process ------------------------------------------------------------------------

    def _ensure_sender(self) -> None:
        if self._sender is None and time.monotonic() >= self._start_from_s:
            try:
                process = SenderProcess(self._command(), self._events.put, self._mask)
            except OSError as error:
                logger.warning("the sender process cannot be started: %s", error)
                self._put_off_start()
            else:
                self._sender = _Process(process, time.monotonic() + self._patience_s)

    def _put_off_start(self) -> None:
        self._failed_starts += 1
        pause_s = min(self._pause_s * 2.0 ** min(self._failed_starts - 1, 20), LONGEST_PAUSE_S)
        self._start_from_s = time.monotonic() + pause_s

    def _dismiss_idle(self, *, has_work: bool) -> None:
        """End a process that has had nothing to do for a while, and one that says nothing any more."""
        sender = self._sender
        if sender is None:
            return
        now_s = time.monotonic()
        limits = [flight.patience_ends_s for flight in self._flights.values() if flight.sent is None]
        if not sender.is_ready:
            limits.append(sender.patience_ends_s)
        if limits and now_s >= min(limits) and not sender.is_killed:
            sender.is_killed = True
            logger.warning("the sender process has not answered for %.0f s and is ended", self._patience_s)
            sender.process.kill()
        if has_work or self._flights or not sender.is_ready:
            sender.idle_since_s = None
        elif sender.idle_since_s is None:
            sender.idle_since_s = now_s
        elif now_s - sender.idle_since_s >= self._linger_s:
            self._end(sender.process)

    def _end(self, process: SenderProcess) -> None:
        """End a process from which nothing is awaited any more."""
        process.finish()
        # Nothing is being sent but what `close` has no time for; a process that stays on is stuck.
        if self._flights or not process.join(self._pause_s):
            process.kill()
            process.join(self._pause_s)
        self._sender = None

    def _take(self, event: Heard | _Wake) -> None:
        if isinstance(event, _Wake) or self._sender is None or event.process is not self._sender.process:
            return
        if isinstance(event, Ready):
            self._sender.is_ready = True
            self._failed_starts = 0
        elif isinstance(event, Answer):
            if event.number in self._flights:
                self._flights[event.number].sent = event.sent
        elif isinstance(event, Gone):
            self._mourn(event, was_ready=self._sender.is_ready)

    def _mourn(self, event: Gone, *, was_ready: bool) -> None:
        """The process has died: the end of what it was sending is not known."""
        self._sender = None
        event.process.join(self._pause_s)
        event.process.finish()
        logger.warning("the sender process has died (status %d)", event.status)
        lost = Sent(Outcome.INTERRUPTED, "the sender process died while this was being sent")
        for flight in self._flights.values():
            flight.sent = flight.sent or lost
        # A message that kills it waits by its own retry; a process that cannot start waits here.
        if not was_ready:
            self._put_off_start()

    def _wait_s(self, now_us: int, next_us: int | None, *, is_held_up: bool) -> float | None:
        now_s = time.monotonic()
        waits: list[float] = []
        if next_us is not None:
            waits.append(self._clock.wall_seconds(next_us - now_us))
        if is_held_up and self._sender is None:
            waits.append(self._start_from_s - now_s)
        sender = self._sender
        if sender is not None and not sender.is_killed:
            if sender.idle_since_s is not None:
                waits.append(sender.idle_since_s + self._linger_s - now_s)
            if not sender.is_ready:
                waits.append(sender.patience_ends_s - now_s)
            for flight in self._flights.values():
                waits.append(flight.patience_ends_s - now_s)
        # Never less than a moment: an instant that rounding puts just ahead is not waited for in a spin.
        return max(0.01, min(waits)) if waits else None
