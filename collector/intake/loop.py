"""The loop of the service: messages become readings, readings are judged and committed, then acknowledged.

One thread does all of it, in this order: receive, route, judge, commit, acknowledge. A message is
acknowledged only when the commit that holds what it said has returned; a kill at any instant therefore
loses nothing that was acknowledged, and (series, time) makes what comes again the same reading.
"""

from __future__ import annotations

import logging
import time
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

from collector.clock import Clock
from collector.errors import StoreError
from collector.intake.arrivals import Arrivals
from collector.intake.batch import Batch
from collector.intake.judging import Judge, Judged
from collector.intake.neighbours import Keeper, Line, LineState, Tell, Unstored
from collector.intake.sorting import Sorter
from collector.intake.standstill import STALL_S, Standstill
from collector.learning import Learned
from collector.mqtt import CaughtUp, Connected, Disconnected, Message, Receipt, Received
from collector.notices import Noticed
from collector.requests import Answer
from collector.store import Commit
from rules import AlarmRaised, AlarmReturned, PlannedWork

_LOG = logging.getLogger(__name__)

# Time is told to the engine about once a second while nothing arrives.
TICK_S = 1.0
# How often a marker confirms that the broker has our acknowledgements.
CONFIRM_S = 60.0
# First and longest pause before a commit that the store refused is tried again.
FIRST_RETRY_S = 0.5
LONGEST_RETRY_S = 30.0
_NEVER_S = float("inf")


@dataclass(frozen=True, slots=True)
class Prepared:
    """A commit that waits for the store, and what may be acknowledged when it is durable."""

    commit: Commit
    receipt: Receipt | None


class Intake:
    """Runs the loop, one `round` at a time.

    Parameters
    ----------
    line, store
        The session with the broker, and the store.
    sorter
        Makes readings of messages.
    judge
        Feeds the engine.
    arrivals
        Times given to payloads without one; the sorter's own.
    tell
        Says for every commit what is told to whom, and how incidents read.
    unstored
        Rings for what the store refuses.
    on_messages
        Called when there are messages for people, in the store or in `unstored`.
    on_commit
        Called with what has become durable.
    notices
        Gives up what the service tells of itself with the next commit.
    commit_interval_s
        How long a reading waits at most, wall seconds; 0 is whenever the store is free.
    """

    def __init__(
        self,
        line: Line,
        store: Keeper,
        sorter: Sorter,
        judge: Judge,
        arrivals: Arrivals,
        *,
        tell: Tell,
        unstored: Unstored,
        clock: Clock,
        on_messages: Callable[[], None] = lambda: None,
        on_commit: Callable[[Commit], None] = lambda _: None,
        notices: Callable[[], Noticed] = Noticed,
        commit_interval_s: float = 1.0,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._line, self._store = line, store
        self._sorter, self._judge, self._arrivals = sorter, judge, arrivals
        self._tell, self._unstored, self._on_messages = tell, unstored, on_messages
        self._on_commit, self._notices = on_commit, notices
        self._clock, self._monotonic = clock, monotonic
        self._interval_s = commit_interval_s
        self._batch = Batch()
        self._receipt: Receipt | None = None
        self._prepared: deque[Prepared] = deque()
        # How many of them are rung past the store that refuses.
        self._rung = 0
        self._must_forget = False
        self._batch_since_s = self._retry_at_s = self._tick_at_s = self._confirm_at_s = 0.0
        self._retry_pause_s = FIRST_RETRY_S
        self._refused_since_us: int | None = None
        self._heard_at_s = monotonic()
        self._is_held_up = False
        self._standstill = Standstill(clock)
        self._is_connected = False
        self._since_us: int | None = None

    @property
    def line_state(self) -> LineState:
        """For people, from any thread."""
        is_catching_up = self._is_connected and not self._judge.is_live
        return LineState(self._is_connected, self._since_us, is_catching_up, self._refused_since_us)

    @property
    def is_refused(self) -> bool:
        """Whether the store refuses what comes in."""
        return self._refused_since_us is not None

    def begin(self) -> None:
        """Record that nothing is heard until the backlog has been taken in."""
        self._prepare(None)
        self._settle()

    def round(self) -> None:
        """Receive what there is, or wait for it; judge, commit and acknowledge what is due."""
        received = self._line.receive(self._patience_s())
        self._notice_stall()
        self._take(received)
        now_s = self._monotonic()
        self._notice_hold_up(now_s)
        if self._is_due(received.is_drained, now_s):
            self._prepare(self._receipt)
        elif self._judge.is_live and self._batch.is_empty and now_s >= self._tick_at_s:
            self._tick(now_s)
        if now_s >= self._retry_at_s:
            self._settle()
        if self._judge.is_live and now_s >= self._confirm_at_s and self._arrivals.has_unconfirmed:
            self._confirm()

    def plan_work(self, works: Iterable[PlannedWork], answers: Iterable[Answer] = ()) -> None:
        """Know these works instead of those before, from the next commit on; for the thread of the loop.

        `answers` tell what became of the requests that asked for it; that commit holds them, too.
        """
        self._batch.planned_work = tuple(works)
        self.call(answers)

    def call(self, answers: Iterable[Answer] = ()) -> None:
        """Commit soon what is to be told, with answers to requests; for the thread of the loop."""
        if self._batch.is_empty:
            self._batch_since_s = self._monotonic()
        self._batch.answers += answers
        self._batch.is_called = self._batch.is_urgent = True

    def learn(self, learned: Learned, now_us: int) -> None:
        """Judge by what was learned from here on; for the thread of the loop.

        What time has brought until `now_us`, the instant from which it applies, is committed before.
        """
        if self._judge.is_live:
            self._queue(self._judge.tick(now_us), Batch(), None)
        self._judge.judge_by(learned)

    def finish(self) -> None:
        """Commit and acknowledge what has been received."""
        if not self._batch.is_empty:
            self._prepare(self._receipt)
        self._settle(is_last=True)
        if self._prepared:
            _LOG.error(
                "stopping with %d commits that the store refused: nothing of them was acknowledged, the "
                "broker will send it again",
                len(self._prepared),
            )
        else:
            _LOG.info("everything received is in the store")

    # -- what came ---------------------------------------------------------------------------------

    def _take(self, received: Received) -> None:
        messages, caught_up = received.messages, received.caught_up
        if caught_up is not None:
            self._sort(messages[: caught_up.position])
            self._take_marker(caught_up)
            messages = messages[caught_up.position :]
        self._sort(messages)
        self._receipt = received.receipt
        if received.change is not None:
            self._is_connected = isinstance(received.change, Connected)
            self._since_us = self._clock.now_us()
        if isinstance(received.change, Connected):
            self._take_connection(received.change)
        elif isinstance(received.change, Disconnected):
            self._stop_listening()

    def _sort(self, messages: Sequence[Message]) -> None:
        if messages:
            self._heard_at_s = self._monotonic()
            if self._batch.is_empty:
                self._batch_since_s = self._heard_at_s
            self._sorter.sort(messages, self._batch, is_backlog=not self._judge.is_live)

    def _take_connection(self, connected: Connected) -> None:
        self._confirm_at_s = _NEVER_S
        self._arrivals.mark()
        if not connected.session_present:
            # Packet ids begin anew: what is known of the old ones would be taken for what it is not.
            self._arrivals.forget()
            self._prepared = deque(
                replace(one, commit=replace(one.commit, arrivals=(), settled=())) for one in self._prepared
            )
            self._must_forget = True

    def _take_marker(self, caught_up: CaughtUp) -> None:
        if caught_up.was_heard:
            self._arrivals.settle()
        self._confirm_at_s = self._monotonic() + CONFIRM_S
        if self._judge.is_live:
            return
        # What follows the marker is not covered by this commit, so it acknowledges nothing.
        if not self._batch.is_empty:
            self._prepare(None)
        self._queue(self._judge.catch_up(self._clock.now_us()), Batch(), None)

    def _stop_listening(self) -> None:
        """The line is lost, or was not listened to: until a marker comes back, what arrives is backlog."""
        if not self._batch.is_empty:
            self._prepare(None)
        self._judge.stop_listening()
        self._prepare(None)

    def _notice_stall(self) -> None:
        if self._standstill.notice(is_live=self._judge.is_live):
            self._stop_listening()
            self._confirm()

    def _notice_hold_up(self, now_s: float) -> None:
        """While the store refuses, a full window keeps the rest at the broker: that is no silence."""
        if not self.is_refused or not self._judge.is_live:
            return
        # A broker that sends more than the window does not keep to it.
        is_full = self._line.unacknowledged == self._line.window
        if is_full and now_s - self._heard_at_s > STALL_S:
            _LOG.error(
                "the broker waits for the store: what is published now is judged when that works again"
            )
            self._is_held_up = True
            self._stop_listening()

    # -- when --------------------------------------------------------------------------------------

    def _patience_s(self) -> float:
        now_s = self._monotonic()
        due_s = now_s + TICK_S
        if not self._batch.is_empty:
            due_s = min(due_s, self._batch_since_s + self._interval_s)
        elif self._judge.is_live:
            due_s = min(due_s, self._tick_at_s)
        if self._prepared:
            due_s = min(due_s, self._retry_at_s)
        return max(0.0, due_s - now_s)

    def _is_due(self, is_drained: bool, now_s: float) -> bool:
        if self._batch.is_empty:
            return False
        if self._batch.is_urgent or now_s - self._batch_since_s >= self._interval_s:
            return True
        return is_drained and self._line.unacknowledged >= self._line.window

    def _tick(self, now_s: float) -> None:
        """Let time pass on a line on which nothing arrives."""
        self._tick_at_s = now_s + TICK_S
        now_us = self._clock.now_us()
        judged = self._judge.tick(now_us)
        if judged.events or judged.revised:
            self._queue(judged, Batch(), self._receipt)
        elif not self._prepared and self._receipt is not None:
            # Messages that said nothing worth keeping, such as our own marker.
            self._line.acknowledge(self._receipt)

    def _confirm(self) -> None:
        """Have a marker confirm that the broker has the acknowledgements given so far."""
        self._confirm_at_s = _NEVER_S
        self._arrivals.mark()
        self._line.mark()

    # -- judge, commit, acknowledge ----------------------------------------------------------------

    def _prepare(self, receipt: Receipt | None) -> None:
        """Judge the batch, and queue the commit of it; it is judged once, however often it is committed."""
        batch, self._batch = self._batch, Batch()
        now_us = self._clock.now_us()
        judged = self._judge.judge(batch.entries, now_us, batch.boards, batch.planned_work)
        self._queue(judged, batch, receipt)

    def _queue(self, judged: Judged, batch: Batch, receipt: Receipt | None) -> None:
        now_us = self._clock.now_us()
        alarms = [event for event in judged.events if isinstance(event, AlarmRaised | AlarmReturned)]
        telling = self._tell(judged.events, now_us)
        noticed = self._notices()
        arrivals, settled = self._arrivals.take()
        commit = Commit(
            committed_us=now_us,
            engine_us=judged.engine_us,
            rows=judged.rows,
            revised=judged.revised,
            rejections=batch.rejections,
            arrivals=arrivals,
            settled=settled,
            boards=batch.boards,
            alarms=alarms,
            incidents=telling.records,
            messages=[*telling.messages, *noticed.messages],
            withdrawals=[*telling.withdrawals, *noticed.withdrawals],
            lives=telling.lives,
            threads=telling.threads,
            test_rings=telling.test_rings,
            planned_work=batch.planned_work,
            answers=batch.answers,
            requests=batch.requests,
            refused=batch.refused,
            notes=noticed.notes,
            ticked_us=judged.ticked_us,
        )
        self._prepared.append(Prepared(commit, receipt))
        if self.is_refused:
            self._ring_unstored()

    def _settle(self, *, is_last: bool = False) -> None:
        """Commit what is prepared, in its order; only after each commit acknowledge what it holds."""
        try:
            if self._must_forget:
                self._store.forget_arrivals()
                self._must_forget = False
            while self._prepared:
                prepared = self._prepared[0]
                commit = self._yet_to_tell(prepared.commit, is_last=is_last)
                if commit is None:
                    self._retry_at_s = self._monotonic() + FIRST_RETRY_S
                    return
                self._store.commit(commit)
                self._prepared.popleft()
                self._rung = max(0, self._rung - 1)
                if prepared.receipt is not None:
                    self._line.acknowledge(prepared.receipt)
                self._arrivals.acknowledged(prepared.commit.arrivals)
                self._on_commit(commit)
                if prepared.commit.messages:
                    self._unstored.withdraw(prepared.commit.messages)
                    self._on_messages()
        except StoreError as error:
            self._wait_for_store(error)
            return
        if self.is_refused:
            self._retry_pause_s, self._refused_since_us = FIRST_RETRY_S, None
            _LOG.warning("the store works again; nothing was lost")
            if self._is_held_up:
                self._is_held_up = False
                self._confirm()

    def _ring_unstored(self) -> None:
        for prepared in list(self._prepared)[self._rung :]:
            self._unstored.call_off(prepared.commit.withdrawals)
            if prepared.commit.messages:
                self._unstored.add(prepared.commit.messages)
                self._on_messages()
        self._rung = len(self._prepared)

    def _yet_to_tell(self, commit: Commit, *, is_last: bool) -> Commit | None:
        """The commit without messages that were delivered meanwhile; None while one is being sent."""
        if not commit.messages or not self.is_refused:
            return commit
        messages = self._unstored.claim(commit.messages)
        if messages is None:
            # At the end there is no time to wait: told twice is better than not stored.
            return commit if is_last else None
        return replace(commit, messages=messages)

    def _wait_for_store(self, error: StoreError) -> None:
        self._unstored.release()
        if self.is_refused:
            # Not at the first time: what a busy moment refuses is stored half a second later.
            self._ring_unstored()
        else:
            self._refused_since_us = self._clock.now_us()
            _LOG.error(
                "%s. Readings are kept in memory and at the broker until it works again; look at the disk: "
                "is it full, worn out or read-only?",
                error,
            )
        self._retry_pause_s = min(2 * self._retry_pause_s, LONGEST_RETRY_S)
        self._retry_at_s = self._monotonic() + self._retry_pause_s
