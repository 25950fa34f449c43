"""The mirror's worker: sends the time-series database what it lacks, in order, through any outage.

A batch is read, sent, and settled: the cursor moves after the database has taken it. A kill between the two
sends the batch again, which changes nothing there. Commits are never waited for, nor made to wait for longer
than one short transaction.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import TracebackType
from typing import Self

from collector.clock import Clock
from collector.database import NotTakenError, Target, lines_of
from collector.errors import DatabaseError, StoreError
from collector.mirror.pace import Pace
from collector.mirror.sending import send
from collector.store import MirrorCursor, SeriesTags

_LOG = logging.getLogger(__name__)

# Between two batches in arrears: a moment in which live intake need not wait for this thread.
BREATH_S = 0.002
# In arrears for longer than this, what is left is told now and then.
TELL_EVERY_S = 60.0
CLOSE_S = 5.0


@dataclass(frozen=True, slots=True)
class MirrorHealth:
    """How the mirror is, as seen from its worker.

    `failing_since_us` is tank time, None while it works. `reason` is why it fails, or else why it refused the
    last ones of the `refused` points. `has_sent` says that the database has taken a batch since the start.
    """

    failing_since_us: int | None = None
    reason: str = ""
    refused: int = 0
    has_sent: bool = False


class _Closing(Exception):  # noqa: N818 - no error
    """It is to end, and the batch will be sent again."""


class MirrorWorker:
    """Mirrors the store on a thread of its own named "mirror".

    Parameters
    ----------
    open_cursor, open_target
        Called once, on the thread; both are closed there. They are tried again if they fail.
    clock
        The service's clock, for what is noted.
    interval_s
        Wall seconds between two batches while nothing is in arrears.
    pace
        Pauses after failures, and the size of batches.
    pass_step
        Told each step around the cursor, for tests that kill the process there.
    """

    def __init__(
        self,
        open_cursor: Callable[[], MirrorCursor],
        open_target: Callable[[], Target],
        *,
        clock: Clock | None = None,
        interval_s: float = 10.0,
        pace: Pace | None = None,
        pass_step: Callable[[str], object] = lambda _step: None,
    ) -> None:
        self._open_cursor, self._open_target = open_cursor, open_target
        self._clock = clock or Clock()
        self._interval_s = interval_s
        self._pace = pace or Pace()
        self._pass_step = pass_step
        self._closing = threading.Event()
        self._sent, self._told_s = 0, time.monotonic()
        # What is off, as the log tells already.
        self._logged = ""
        # Replaced as a whole, so that another thread sees one or the other.
        self.health = MirrorHealth()
        # A request that hangs must not keep the process: what it carries is sent again after the next start.
        self._thread = threading.Thread(target=self._run, name="mirror", daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self, timeout_s: float = CLOSE_S) -> None:
        """Let the thread end; what is being sent then may be sent again after the next start."""
        self._closing.set()
        self._thread.join(timeout_s)

    # -- the thread --------------------------------------------------------------------------------

    def _run(self) -> None:
        while not self._closing.is_set():
            try:
                cursor = self._open_cursor()
                try:
                    target = self._open_target()
                    try:
                        self._follow(cursor, target)
                    finally:
                        target.close()
                finally:
                    cursor.close()
            except _Closing:
                return
            except StoreError as error:
                self._log_once(f"the mirror waits for the store: {error}")
            except Exception:  # noqa: BLE001 - the thread must live: it is the only one that mirrors
                _LOG.exception("the mirror failed at something unforeseen and goes on")
            self._closing.wait(self._pace.fail())

    def _follow(self, cursor: MirrorCursor, target: Target) -> None:
        tags = cursor.tags()
        # An outage goes on over a restart.
        self.health = MirrorHealth(*cursor.failing, cursor.refused_count)
        while not self._closing.is_set():
            try:
                pause_s = self._step(cursor, target, tags)
            except NotTakenError as error:
                pause_s = self._note_failure(cursor, error)
            except DatabaseError as error:
                pause_s = self._note_failure(cursor, NotTakenError(str(error)))
            self._closing.wait(pause_s)

    def _step(self, cursor: MirrorCursor, target: Target, tags: Mapping[int, SeriesTags]) -> float:
        """Send one batch; return after how many seconds to look again."""
        batch = cursor.next_batch(self._pace.batch)
        if not len(batch):
            return self._interval_s
        lines = lines_of(tags, batch.series, batch.times_us, batch.values, batch.flags)
        self._pass_step("before send")
        refused = send(target, lines, self._give_up_if_closing)
        self._pass_step("after send")
        cursor.settle(batch, refused, self._clock.now_us())
        self._pass_step("after settle")
        self._pace.succeed()
        self._note_success(cursor, refused)
        self._tell_progress(len(batch), is_in_arrears=batch.has_more)
        return BREATH_S if batch.has_more else self._interval_s

    def _give_up_if_closing(self) -> None:
        if self._closing.is_set():
            raise _Closing

    def _note_success(self, cursor: MirrorCursor, refused: Mapping[int, str]) -> None:
        before = self.health
        if before.failing_since_us is not None:
            cursor.note_failing(None, None)
            self._logged = ""
            _LOG.warning("the database takes readings again")
        count = cursor.refused_count if refused or before.refused else 0
        reason = next(iter(refused.values()), before.reason if before.failing_since_us is None else "")
        self.health = MirrorHealth(None, reason, count, has_sent=True)
        if refused and reason != before.reason:
            _LOG.warning(
                "the database refused %d readings and perhaps more, which are set aside: %s",
                len(refused),
                reason,
            )

    def _note_failure(self, cursor: MirrorCursor, error: NotTakenError) -> float:
        pause_s = self._pace.fail(retry_after_s=error.retry_after_s, is_slow=error.is_slow)
        before = self.health
        since_us = before.failing_since_us
        if since_us is None or str(error) != before.reason:
            since_us = self._clock.now_us() if since_us is None else since_us
            cursor.note_failing(since_us, str(error))
        self._log_once(f"the database does not take readings, which wait in the store: {error}")
        self.health = MirrorHealth(since_us, str(error), before.refused, before.has_sent)
        return pause_s

    def _log_once(self, line: str) -> None:
        """Log what is off, unless it is so as before."""
        if line != self._logged:
            self._logged = line
            _LOG.warning("%s", line)

    def _tell_progress(self, count: int, *, is_in_arrears: bool) -> None:
        self._sent += count
        now_s = time.monotonic()
        if not is_in_arrears:
            self._sent, self._told_s = 0, now_s
        elif now_s - self._told_s >= TELL_EVERY_S:
            self._told_s = now_s
            _LOG.info("the mirror is catching up: %d readings sent so far", self._sent)
