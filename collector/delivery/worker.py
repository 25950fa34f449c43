"""The delivery worker: watches the outbox and sees each message through, whatever dies in between.

A try is recorded as started before the message leaves, and as ended when the channel's answer is in. If
this service or the sender process dies between the two, the end of the try is not known: the message
is sent again and says so. So a crash costs at most one repetition, and never a message. While the store
refuses to take note of tries, messages leave all the same, and their ends are noted when it works again.

With the end of a try that failed it is recorded over which other channel the message goes on, and that
somebody is told of the failure: a kill comes before all of that or after it.
"""

from __future__ import annotations

import logging
import queue
import threading
import time
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from types import TracebackType
from typing import Any, Self, TypeAlias

from collector.clock import Clock
from collector.configuration import Configuration
from collector.delivery.attendance import Attendance
from collector.delivery.child import Answer, Gone, Heard, sender_command
from collector.delivery.detour import REPORT, ChannelFailure, Channels, detour, hopeful, is_lost
from collector.delivery.outbox import Outbox
from collector.delivery.queue import WINDOW_US, ChannelKey, channel_of, choose
from collector.delivery.retry import due_us, is_given_up, outgoing_body, retry_at_us
from collector.errors import StoreError
from collector.messages import Detour, Message, NewMessage, Outcome
from collector.sending.channels import Sent
from collector.sending.masking import Mask

logger = logging.getLogger(__name__)

# Words a report of a channel that fails, for somebody who can be told now; the channels that fail are to be
# avoided. None: there is nobody.
Report: TypeAlias = Callable[[ChannelFailure, Collection[ChannelKey], int], NewMessage | None]

# Messages of one incident leave within one commit: a process kept this long serves them all, and one
# kept longer holds memory that the rest of the machine wants.
LINGER_S = 5.0
# apprise gives up on a channel after a minute; a process silent for longer hangs, and is ended.
PATIENCE_S = 120.0
# How soon work goes on after the store refused, and the first pause after a process that could not start.
PAUSE_S = 2.0
# Instants are 64 bits: everything that waits is due by then.
_EVER_US = 2**62
_AT_MOST = 2000


@dataclass(slots=True)
class _Flight:
    """A message that was handed to the sender process."""

    message: Message
    started_us: int
    answer_by_s: float
    sent: Sent | None = None


class _Wake:
    """Said by `wake` and `close`."""


def _log_only(_failure: ChannelFailure, _failing: Collection[ChannelKey], _now_us: int) -> None:
    return None


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
    report
        See `Report`; without it failures are only logged.
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
        report: Report = _log_only,
        command: Callable[[], Sequence[str]] = sender_command,
        picture: Callable[[Message], Mapping[str, Any] | None] = lambda _message: None,
        linger_s: float = LINGER_S,
        patience_s: float = PATIENCE_S,
        pause_s: float = PAUSE_S,
    ) -> None:
        self._channels = Channels(configuration)
        self._outbox = outbox
        self._clock = clock or Clock()
        self._report, self._picture = report, picture
        self._patience_s, self._pause_s = patience_s, pause_s
        self._events: queue.SimpleQueue[Heard | _Wake] = queue.SimpleQueue()
        self._sender = Attendance(
            command,
            self._events.put,
            Mask(self._channels.urls.values()),
            linger_s=linger_s,
            patience_s=patience_s,
            pause_s=pause_s,
        )
        self._flights: dict[int, _Flight] = {}
        # What the store could not take note of: how many tries, and when to try a message again.
        self._unrecorded = 0
        self._put_off_to_us: dict[int, int] = {}
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
        # Nothing is being sent but what `close` has no time for.
        self._sender.end(is_stuck=bool(self._flights))

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
        if due and self._sender.is_ready():
            for message in due:
                self._hand_over(message)
            due = []
        awaited_by_s = [one.answer_by_s for one in self._flights.values() if one.sent is None]
        self._sender.look_after(awaited_by_s, has_work=bool(due))
        waits_s = self._sender.waits_s(awaited_by_s, has_work=bool(due))
        if next_us is not None:
            waits_s.append(self._clock.wall_seconds(next_us - now_us))
        if is_refused:
            waits_s.append(self._pause_s)
        # Never less than a moment: an instant that rounding puts just ahead is not waited for in a spin.
        return max(0.01, min(waits_s)) if waits_s else None

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

    def _due(self, now_us: int) -> tuple[Sequence[Message], int | None]:
        """Messages to send now, at most one a channel, and when the next one is due."""
        flights = self._flights.values()
        sent = {one.message.id for one in flights if one.sent is not None}
        waiting = [
            message
            for message in self._outbox.due(_EVER_US, _AT_MOST)
            if message.id not in sent and not self._is_hopeless(message, now_us)
        ]
        if not waiting:
            return (), None
        handed_us: dict[ChannelKey, list[int]] = {}
        for one in self._outbox.handed(now_us - WINDOW_US):
            # One that lies ahead is of a clock that was set back since.
            if one.started_us <= now_us:
                handed_us.setdefault((one.person, one.channel), []).append(one.started_us)
        return choose(
            waiting,
            busy={channel_of(one.message) for one in flights if one.sent is None},
            handed_us=handed_us,
            due_us=lambda message: max(due_us(message, now_us), self._put_off_to_us.get(message.id, 0)),
            now_us=now_us,
        )

    def _is_hopeless(self, message: Message, now_us: int) -> bool:
        """Give a message up that is too old, or whose channel is no longer configured; say whether."""
        if message.id in (flight.message.id for flight in self._flights.values()):
            return False
        is_reachable = channel_of(message) in self._channels.urls
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

    def _hand_over(self, message: Message) -> None:
        now_us = self._clock.now_us()
        try:
            number = self._outbox.record_try_started(message.id, now_us)
        except StoreError as error:
            # A full disk must not silence a failing heater.
            logger.warning("message %d is sent although that cannot be noted: %s", message.id, error)
            self._unrecorded += 1
            number = -self._unrecorded
        self._flights[number] = _Flight(message, now_us, time.monotonic() + self._patience_s)
        self._sender.send(
            {
                "number": number,
                "url": self._channels.urls[channel_of(message)],
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
            try:
                if number < 0:
                    known = self._outbox.record_try_started(flight.message.id, flight.started_us)
                    self._flights[known] = self._flights.pop(number)
                    number = known
                self._record_end(number, flight.message, flight.sent)
            except StoreError as error:
                logger.warning("delivery waits for the store: %s", error)
                is_refused = True
                if flight.sent.outcome is Outcome.DELIVERED:
                    continue
                now_us = self._clock.now_us()
                again_us = retry_at_us(flight.message, now_us)
                self._put_off_to_us[flight.message.id] = again_us
                self._log_failure(flight.message, flight.sent, again_us, now_us, None)
            del self._flights[number]
        return is_refused

    def _record_end(self, number: int, message: Message, sent: Sent) -> None:
        now_us = self._clock.now_us()
        if sent.outcome is Outcome.DELIVERED:
            self._outbox.record_try_ended(number, now_us, sent.outcome, sent.reason)
            logger.info("message %d to %s over %s delivered", message.id, message.person, message.channel)
            return
        again_us = retry_at_us(message, now_us)
        elsewhere, report = None, None
        if is_lost(message, sent.outcome):
            routes = self._outbox.routes(message)
            channels = self._channels.of(message.person, message.priority)
            elsewhere = detour(message, routes, channels, now_us, again_us)
            instead = hopeful(message, routes) if elsewhere is None else elsewhere.channel
            report = self._report_of(message, sent.reason, instead, now_us)
        self._outbox.record_try_ended(
            number,
            now_us,
            sent.outcome,
            sent.reason,
            retry_at_us=again_us,
            detour=elsewhere,
            report=report,
        )
        self._log_failure(message, sent, again_us, now_us, elsewhere)

    def _report_of(self, message: Message, reason: str, instead: str, now_us: int) -> NewMessage | None:
        """What tells that a channel fails, unless that has been told since it last worked."""
        channel = channel_of(message)
        failing = {(one.person, one.channel): one for one in self._outbox.failing()}
        known = failing.get(channel)
        # A report that fails makes no report, or the telling of one failure would go on by itself.
        if message.kind == REPORT or (known is not None and known.is_told):
            return None
        since_us = now_us if known is None else known.since_us
        return self._report(ChannelFailure(*channel, since_us, reason, instead), {channel, *failing}, now_us)

    def _log_failure(
        self, message: Message, sent: Sent, again_us: int, now_us: int, elsewhere: Detour | None
    ) -> None:
        if elsewhere is None:
            then = f"next try in {(again_us - now_us) / 1e6:.0f} s"
        else:
            then = f"goes on over {elsewhere.channel}"
        logger.warning(
            "message %d to %s over %s not delivered, %s: %s",
            message.id,
            message.person,
            message.channel,
            then,
            sent.reason,
        )

    def _take(self, event: Heard | _Wake) -> None:
        if isinstance(event, _Wake):
            return
        heard = self._sender.take(event)
        if isinstance(heard, Answer) and heard.number in self._flights:
            self._flights[heard.number].sent = heard.sent
        elif isinstance(heard, Gone):
            # The process has died: the end of what it was sending is not known.
            lost = Sent(Outcome.INTERRUPTED, "the sender process died while this was being sent")
            for flight in self._flights.values():
                flight.sent = flight.sent or lost
