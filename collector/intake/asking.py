"""Looks for what people ask the service, and hands the loop the plan that follows from it."""

from __future__ import annotations

import logging
import sqlite3
import time
from collections.abc import Callable, Iterable
from typing import Protocol

from collector.alarm_requests import AboutAlarms
from collector.care_requests import RecordCalibration
from collector.clock import Clock
from collector.requests import AboutWork, Answer, Plan, Request
from collector.reviews import AboutReviews, Incidents, done_text
from rules import PlannedWork

_LOG = logging.getLogger(__name__)

# Who asks waits for the answer, and a look at an empty list costs next to nothing.
LOOK_S = 0.5
# Recurring works are planned a day ahead: when exactly does not matter.
RECUR_S = 600.0


class Box(Incidents, Protocol):
    """What is needed of the store: requests that wait, and the incidents that they are about."""

    def waiting_requests(self) -> tuple[Request, ...]:
        """Requests that have not been done."""
        ...


class Answering(Protocol):
    """What is needed of whoever answers for alarms."""

    def take(self, request: Request, asked: AboutAlarms, now_us: int) -> Answer:
        """Do what is asked; the change waits for the next commit."""
        ...


class Loop(Protocol):
    """What is needed of the loop."""

    def call(self, answers: Iterable[Answer]) -> None:
        """Answer with the next commit."""
        ...

    def plan_work(self, works: Iterable[PlannedWork], answers: Iterable[Answer]) -> None:
        """Know these works from the next commit on, and answer with it."""
        ...


class Asking:
    """Does each request once, on the thread of the loop; a commit that is lost leaves it waiting."""

    def __init__(
        self,
        box: Box,
        loop: Loop,
        plan: Plan,
        answering: Answering,
        clock: Clock,
        *,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._box, self._loop, self._plan, self._clock = box, loop, plan, clock
        self._answering = answering
        self._monotonic = monotonic
        self._look_at_s = self._recur_at_s = 0.0
        # Done, but in no commit yet.
        self._taken: set[str] = set()

    def turn(self) -> bool:
        """Do what has been asked since; False, and nothing done, when it is too early to look again."""
        now_s = self._monotonic()
        if now_s < self._look_at_s:
            return False
        self._look_at_s = now_s + LOOK_S
        try:
            waiting = self._box.waiting_requests()
        except sqlite3.Error as error:
            _LOG.warning("what people ask cannot be read: %s", error)
            return True
        self._taken &= {request.id for request in waiting}
        now_us = self._clock.now_us()
        answers = []
        is_planned = False
        for request in waiting:
            if request.id not in self._taken:
                answers.append(self._take(request, now_us))
                is_planned = is_planned or isinstance(request.asked, AboutWork)
                self._taken.add(request.id)
                _LOG.info("%s asked: %s: %s", request.who, request.asked, answers[-1].text)
        # After what was asked: a work that was begun early is the recurring one.
        has_recurred = now_s >= self._recur_at_s and self._plan.look_ahead(now_us)
        if now_s >= self._recur_at_s:
            self._recur_at_s = now_s + RECUR_S
        if has_recurred or is_planned:
            self._loop.plan_work(self._plan.works, answers)
        elif answers:
            self._loop.call(answers)
        return True

    def _take(self, request: Request, now_us: int) -> Answer:
        asked = request.asked
        if isinstance(asked, AboutWork):
            return self._plan.take(request, now_us)
        if isinstance(asked, RecordCalibration):
            # The store notes it with the answer; nothing else depends on it.
            wrong = asked.what_is_wrong(now_us)
            return Answer(request.id, wrong is None, wrong or "noted")
        if isinstance(asked, AboutReviews):
            try:
                return Answer(request.id, True, done_text(asked, self._box))
            except ValueError as error:
                return Answer(request.id, False, str(error))
        return self._answering.take(request, asked, now_us)
