"""The sender process, started when something is to be sent and ended soon after nothing is."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Sequence

from collector.delivery.child import Answer, Gone, Heard, Ready, SenderProcess
from collector.sending.channels import Request
from collector.sending.masking import Mask

logger = logging.getLogger(__name__)

LONGEST_PAUSE_S = 300.0


class Attendance:
    """Has a sender process at hand while it is needed.

    Parameters
    ----------
    command
        Called for the command of each process.
    hear
        Called with what a process says, on another thread; the owner gives it to `take` on its own.
    mask
        Applied to whatever a process complains about.
    linger_s, patience_s, pause_s
        As in `delivery.worker`.
    """

    def __init__(
        self,
        command: Callable[[], Sequence[str]],
        hear: Callable[[Heard], object],
        mask: Mask,
        *,
        linger_s: float,
        patience_s: float,
        pause_s: float,
    ) -> None:
        self._command, self._hear, self._mask = command, hear, mask
        self._linger_s, self._patience_s, self._pause_s = linger_s, patience_s, pause_s
        self._process: SenderProcess | None = None
        self._is_ready = self._is_killed = False
        self._ready_by_s = 0.0
        self._idle_since_s: float | None = None
        self._failed_starts = 0
        self._start_from_s = 0.0

    def is_ready(self) -> bool:
        """Start a process if there is none and none has failed just now; whether it takes messages."""
        if self._process is None and time.monotonic() >= self._start_from_s:
            try:
                self._process = SenderProcess(self._command(), self._hear, self._mask)
            except OSError as error:
                logger.warning("the sender process cannot be started: %s", error)
                self._put_off_start()
            else:
                self._is_ready = self._is_killed = False
                self._ready_by_s = time.monotonic() + self._patience_s
                self._idle_since_s = None
        return self._process is not None and self._is_ready

    def send(self, request: Request) -> None:
        """Hand a message to the process that is ready."""
        if self._process is not None:
            self._process.send(request)

    def take(self, event: Heard) -> Answer | Gone | None:
        """Take what a process has said; return what the owner must know: an answer, or that it died."""
        if event.process is not self._process:
            return None
        if isinstance(event, Ready):
            self._is_ready = True
            self._failed_starts = 0
            return None
        if isinstance(event, Gone):
            self._mourn(event)
        return event

    def look_after(self, awaited_by_s: Sequence[float], *, has_work: bool) -> None:
        """End a process that has had nothing to do for a while, and one that says nothing any more.

        Parameters
        ----------
        awaited_by_s
            By when the answer to each message is awaited.
        has_work
            Whether something is to be sent as soon as it is ready.
        """
        if self._process is None:
            return
        now_s = time.monotonic()
        limits = [*awaited_by_s] if self._is_ready else [*awaited_by_s, self._ready_by_s]
        if limits and now_s >= min(limits) and not self._is_killed:
            self._is_killed = True
            logger.warning("the sender process has not answered for %.0f s and is ended", self._patience_s)
            self._process.kill()
        if has_work or awaited_by_s or not self._is_ready:
            self._idle_since_s = None
        elif self._idle_since_s is None:
            self._idle_since_s = now_s
        elif now_s - self._idle_since_s >= self._linger_s:
            self.end(is_stuck=False)

    def end(self, *, is_stuck: bool) -> None:
        """End a process from which nothing is awaited any more; at once if it is stuck."""
        process, self._process = self._process, None
        if process is None:
            return
        process.finish()
        if is_stuck or not process.join(self._pause_s):
            process.kill()
            process.join(self._pause_s)

    def waits_s(self, awaited_by_s: Sequence[float], *, has_work: bool) -> list[float]:
        """In how many seconds each thing is due that this object does."""
        now_s = time.monotonic()
        if self._process is None:
            return [self._start_from_s - now_s] if has_work else []
        if self._is_killed:
            return []
        instants = [*awaited_by_s]
        if self._idle_since_s is not None:
            instants.append(self._idle_since_s + self._linger_s)
        if not self._is_ready:
            instants.append(self._ready_by_s)
        return [instant - now_s for instant in instants]

    def _mourn(self, event: Gone) -> None:
        was_ready, self._process = self._is_ready, None
        event.process.join(self._pause_s)
        event.process.finish()
        logger.warning("the sender process has died (status %d)", event.status)
        # A message that kills it waits by its own retry; a process that cannot start waits here.
        if not was_ready:
            self._put_off_start()

    def _put_off_start(self) -> None:
        self._failed_starts += 1
        pause_s = min(self._pause_s * 2.0 ** min(self._failed_starts - 1, 20), LONGEST_PAUSE_S)
        self._start_from_s = time.monotonic() + pause_s
