"""The database as somebody asks it who waits: an answer within seconds, and left alone where it fails.

A thread of its own asks, so that nobody waits longer than they are ready to, whatever the database does
meanwhile: one that trickles is as bad as one that is silent.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future
from contextlib import ExitStack
from typing import TypeAlias

from collector.configuration import Configuration
from collector.database.opening import open_database
from collector.database.target import Past
from collector.errors import DatabaseError
from collector.store import Readings

# A day of readings every second takes about as long on a Raspberry Pi, and costs no patience.
PROMPT_S = 1.0
# What a page may take longer altogether, and is given back with time: it asks up to a dozen times.
PATIENCE_S = 3.0
# An answer that is asked for once more is the same: a chart and what is judged on it, a limit that is moved.
KEPT_S = 60.0
# After a failure. A database that is back is missed for so long at most.
ALONE_S = 60.0
_CLOSING_S = 1.0

_Asked: TypeAlias = tuple[str, str, int, int]
_Question: TypeAlias = "tuple[Future[Readings], _Asked]"


class Archive:
    """Readings of the database, for any number of threads.

    Parameters
    ----------
    open_past
        Opens it; called by the thread that asks, at the first question.
    prompt_s, patience_s
        How long any answer may take, and how much longer a series of answers may altogether.
    alone_s
        How long it is not asked again after a failure; meanwhile the reason of that is given at once.
    """

    def __init__(
        self,
        open_past: Callable[[], Past],
        *,
        prompt_s: float = PROMPT_S,
        patience_s: float = PATIENCE_S,
        alone_s: float = ALONE_S,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._open_past, self._monotonic = open_past, monotonic
        self._prompt_s, self._most_patience_s, self._alone_s = prompt_s, patience_s, alone_s
        self._lock = threading.Lock()
        self._patience_s, self._patient_at_s = patience_s, monotonic()
        self._alone_until_s, self._reason = monotonic(), ""
        self._last: tuple[_Asked, float, Readings] | None = None
        self._questions: queue.SimpleQueue[_Question | None] = queue.SimpleQueue()
        self._thread: threading.Thread | None = None

    def readings(self, tank: str, series: str, start_us: int, end_us: int) -> Readings:
        """See `Past`; an answer that does not come in time is an error, too."""
        asked, begun_s = (tank, series, start_us, end_us), self._monotonic()
        with self._lock:
            if self._last is not None and self._last[0] == asked and begun_s < self._last[1] + KEPT_S:
                return self._last[2]
            if begun_s < self._alone_until_s:
                raise DatabaseError(self._reason)
            if self._thread is None:
                self._thread = threading.Thread(target=self._answer, name="archive", daemon=True)
                self._thread.start()
            self._patience_s = min(
                self._most_patience_s, self._patience_s + max(0.0, begun_s - self._patient_at_s)
            )
            wait_s = self._prompt_s + self._patience_s
        answer: Future[Readings] = Future()
        self._questions.put((answer, asked))
        try:
            found = answer.result(wait_s)
        except TimeoutError as error:
            answer.cancel()
            reason = f"it has not answered within {wait_s:.2g} s"
            self._leave_alone(reason)
            raise DatabaseError(reason) from error
        except DatabaseError as error:
            self._leave_alone(str(error))
            raise
        finally:
            self._count(begun_s)
        with self._lock:
            self._last = asked, begun_s, found
        return found

    def close(self) -> None:
        """End the thread; one that waits for the database ends with that."""
        self._questions.put(None)
        if self._thread is not None:
            self._thread.join(_CLOSING_S)

    def _count(self, begun_s: float) -> None:
        ended_s = self._monotonic()
        with self._lock:
            self._patience_s = max(0.0, self._patience_s - max(0.0, ended_s - begun_s - self._prompt_s))
            self._patient_at_s = ended_s

    def _leave_alone(self, reason: str) -> None:
        with self._lock:
            self._alone_until_s, self._reason = self._monotonic() + self._alone_s, reason

    def _answer(self) -> None:
        past: Past | None = None
        while (question := self._questions.get()) is not None:
            answer, asked = question
            # Nobody waits any more for what was cancelled.
            if not answer.set_running_or_notify_cancel():
                continue
            try:
                past = self._open_past() if past is None else past
                answer.set_result(past.readings(*asked))
            except BaseException as error:  # noqa: BLE001 (whoever asked gets it)
                answer.set_exception(error)
        if past is not None:
            past.close()


def start_archive(configuration: Configuration, stack: ExitStack) -> Archive | None:
    """The archive, which `stack` ends; None where no database is configured."""
    database = configuration.database
    if database is None:
        return None
    archive = Archive(lambda: open_database(database, timeout_s=PROMPT_S + PATIENCE_S))
    stack.callback(archive.close)
    return archive
