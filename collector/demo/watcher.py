"""Watches the running demo from outside, through the store: readings, incidents, and when it is over.

It sees what anybody sees who opens the store for reading; the service does not know that it is there.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Self

from collector.clock import Clock
from collector.demo.view import View
from collector.store import IncidentRecord, StoreReader
from rules import HOUR_US

_POLL_S = 0.25
# One line of readings in ten minutes of tank time: every five seconds at the usual rate.
_LINE_US = HOUR_US // 6


class Watcher:
    """Tells the view what the store shows, on a thread of its own, from `with` to the end of it.

    Parameters
    ----------
    cause
        What is expected to be recognised.
    leader
        The series whose readings a line is made for; the others stand beside it as they are then.
    after_look
        Called on that thread after each look at the store, with the incident of that cause once it is
        in the list, None before.
    """

    def __init__(
        self,
        path: Path,
        clock: Clock,
        view: View,
        *,
        cause: str,
        leader: str,
        after_look: Callable[[IncidentRecord | None], None] = lambda _: None,
    ) -> None:
        self._path = path
        self._clock = clock
        self._view = view
        self._cause = cause
        self._leader = leader
        self._after_look = after_look
        self._seen: dict[int, tuple[str, int | None]] = {}
        self._shown_us = clock.now_us() // _LINE_US * _LINE_US
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="watcher")
        self.recognised: IncidentRecord | None = None

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stop.set()
        self._thread.join()

    def _run(self) -> None:
        with StoreReader(self._path) as reader:
            while not self._stop.wait(_POLL_S):
                self._look(reader)
                self._after_look(self.recognised)
            self._look(reader)

    def _look(self, reader: StoreReader) -> None:
        self._show_readings(reader)
        for record in reversed(reader.incidents()):
            incident = record.incident
            state = (incident.cause, incident.ended_at_us)
            if self._seen.get(incident.number) == state:
                continue
            self._seen[incident.number] = state
            self._view.incident(record)
            if incident.cause == self._cause and self.recognised is None:
                self.recognised = record

    def _show_readings(self, reader: StoreReader) -> None:
        values: dict[str, float] = {}
        newest_us = 0
        for latest in reader.latest():
            if latest.value is not None:
                values[latest.series.name] = latest.value
            if latest.series.name == self._leader:
                newest_us = latest.observed_us
        if newest_us >= self._shown_us + _LINE_US:
            self._shown_us = newest_us // _LINE_US * _LINE_US
            self._view.readings(newest_us, values)
