"""What does a message say: readings with their times and what is derived from them, or that a board is gone?

Times are given here: a payload without a time, or with one that cannot be right, gets its arrival. All of
it must come out the same for a redelivered message, since (series, time) is what makes it the same.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType

from collector.configuration import BoardConfiguration
from collector.derivation import Derivations
from collector.errors import PayloadError
from collector.intake.arrivals import Arrivals
from collector.intake.batch import Batch
from collector.intake.crossings import Crossings
from collector.intake.published import id_of, published_request
from collector.mqtt import Message
from collector.payloads import Kind
from collector.problems import Problem, ProblemLog
from collector.readings import Mark, Reading
from collector.requests import Answer
from collector.routing import Routed, Router
from collector.store import BoardState, Rejection
from collector.timekeeping import Trust

_LOG = logging.getLogger(__name__)

# How far ahead of us a board's clock may be before its time is not believed: boards that keep time
# by the network are within a second, and two minutes let a slow one pass.
FUTURE_LIMIT_US = 120 * 1_000_000
# 2000-01-01: a board without a clock says 1970.
PAST_LIMIT_US = 946_684_800 * 1_000_000

_ARRIVAL = int(Mark.ARRIVAL_TIME)
_REPLACED = int(Mark.TIME_REPLACED)
_UNKNOWN = int(Mark.TIME_UNKNOWN)
_NONE = Mark.NONE
_NO_TOPICS: Mapping[str, str] = MappingProxyType({})


class Sorter:
    """Makes entries of a batch out of messages.

    Parameters
    ----------
    router, problems
        Read payloads, and keep count of what cannot be read.
    derivations
        Compute series from others.
    arrivals
        Times given to payloads without one.
    crossings
        Tell which readings do not wait.
    boards
        Boards with a last will.
    asked
        Topics of requests, each with its tank.
    trust
        How far our own clock is to be trusted now.
    heard
        Told of every message that is no request.
    """

    def __init__(
        self,
        router: Router,
        problems: ProblemLog,
        derivations: Derivations,
        arrivals: Arrivals,
        crossings: Crossings,
        boards: Sequence[BoardConfiguration],
        asked: Mapping[str, str] = _NO_TOPICS,
        trust: Callable[[], Trust] = Trust,
        heard: Callable[[Message], None] = lambda _: None,
    ) -> None:
        self._route = router.route
        self._problems = problems
        self._take, self._derived = derivations.take, derivations.derived
        self._arrivals = arrivals
        self._crosses = crossings.crosses
        self._boards: dict[str, list[BoardConfiguration]] = {}
        for board in boards:
            self._boards.setdefault(board.topic, []).append(board)
        self._asked = asked
        self._trust, self._now_trust = trust, Trust()
        self._heard = heard
        self.last_known = 0

    def sort(self, messages: Sequence[Message], batch: Batch, *, is_backlog: bool) -> None:
        """Put what messages, of which there are some, say into a batch.

        In a backlog, readings without a time of their own are marked as of unknown time: they were sent
        at some instant before their arrival.
        """
        batch.messages += len(messages)
        self._now_trust = self._trust()
        for message in messages:
            if message.topic in self._asked:
                self._take_request(message, batch, is_backlog)
                continue
            self._heard(message)
            if message.topic in self._boards:
                self._take_board(message, batch)
            received_us = message.received_us
            recalled_us = self._arrivals.recall(message) if message.is_redelivered else None
            if recalled_us is not None:
                received_us = recalled_us
            routed = self._route(message.topic, message.payload, received_us)
            if routed.readings:
                self._take_readings(message, routed, received_us, recalled_us, batch, is_backlog)
            for problem in routed.problems:
                self._problems.record(problem, message.payload)
        self._add_derived(batch, messages[-1].received_us)
        for row in self._problems.drain():
            batch.rejections.append(
                Rejection(row.source, row.count, row.first_us, row.last_us, row.reason, row.payload)
            )

    def _take_readings(
        self,
        message: Message,
        routed: Routed,
        received_us: int,
        recalled_us: int | None,
        batch: Batch,
        is_backlog: bool,
    ) -> None:
        timeless = []
        hangs_on_arrival = False
        for series, observed_us, _, mark in routed.readings:
            if not self._is_own(observed_us, received_us):
                timeless.append(series)
            elif mark is not _NONE:
                hangs_on_arrival = True
        if not timeless and not hangs_on_arrival:
            self._arrivals.saw(message)
            for series, own_us, value, _ in routed.readings:
                self._add(batch, series, own_us or 0, value, 0, message)
            return
        if message.is_retained:
            # Sent at some time before we subscribed: known, but no reading of now.
            self.last_known += 1
            _LOG.info("%s is retained and has no time of its own: last known, not a reading", message.topic)
            return
        given_us = self._arrivals.give(message, timeless, recalled_us)
        readings: Sequence[Reading] = routed.readings
        if given_us != received_us and hangs_on_arrival:
            readings = self._route(message.topic, message.payload, given_us).readings
        self._add_timed(batch, readings, received_us, given_us, message, is_backlog)

    def _is_own(self, observed_us: int | None, received_us: int) -> bool:
        """Whether the time that a payload gives counts."""
        if observed_us is None or not PAST_LIMIT_US <= observed_us <= received_us + FUTURE_LIMIT_US:
            return False
        lead_us = self._now_trust.lead_us
        # While our time runs ahead, what a board says of now would be late for all that is judged by ours.
        return lead_us <= FUTURE_LIMIT_US or abs(observed_us - (received_us - lead_us)) > FUTURE_LIMIT_US

    def _add_timed(
        self,
        batch: Batch,
        readings: Sequence[Reading],
        received_us: int,
        given_us: int,
        message: Message,
        is_backlog: bool,
    ) -> None:
        """Add readings of which some get the time given; of one series, a microsecond more each."""
        unknown = _UNKNOWN if is_backlog or self._now_trust.is_doubted else 0
        used: dict[int, int] = {}
        for series, observed_us, value, mark in readings:
            if observed_us is not None and self._is_own(observed_us, received_us):
                # Counted from an arrival that is not when it was sent, it is as unknown as that.
                marks = (_ARRIVAL | unknown) if mark is not _NONE else 0
                self._add(batch, series, observed_us, value, marks, message)
                continue
            marks = (_ARRIVAL if observed_us is None else _REPLACED) | unknown
            offset = used.get(series, 0)
            used[series] = offset + 1
            self._add(batch, series, given_us + offset, value, marks, message)

    def _add(
        self, batch: Batch, series: int, observed_us: int, value: float, mark: int, message: Message
    ) -> None:
        value = self._take(series, observed_us, value, mark)
        delay_ms = (message.received_us - observed_us) // 1000
        batch.entries.append((observed_us, series, value, mark, delay_ms, message.payload))
        if self._crosses(series, value):
            batch.is_urgent = True

    def _add_derived(self, batch: Batch, now_us: int) -> None:
        """Add what is computed from the readings that arrived together."""
        for series, observed_us, value, mark in self._derived():
            if observed_us is not None:
                delay_ms = (now_us - observed_us) // 1000
                batch.entries.append((observed_us, series, value, int(mark), delay_ms, b""))
                if self._crosses(series, value):
                    batch.is_urgent = True

    def _take_request(self, message: Message, batch: Batch, is_backlog: bool) -> None:
        """Take a request, to be done when it is stored; say why where there is none."""
        try:
            request = published_request(message, self._asked[message.topic], is_backlog=is_backlog)
        except PayloadError as error:
            self._problems.record(Problem(message.topic, Kind.PAYLOAD, str(error)), message.payload)
            if (number := id_of(message.payload)) is not None:
                batch.refused.append(Answer(f"{self._asked[message.topic]}/{number}", False, str(error)))
        else:
            batch.requests.append(request)
            batch.is_urgent = True

    def _take_board(self, message: Message, batch: Batch) -> None:
        """Take the word of a board, or of its last will; only what it is configured to say counts."""
        text = message.payload.decode("utf-8", "replace").strip()
        for board in self._boards[message.topic]:
            if text in (board.online, board.offline):
                is_online = text == board.online
                batch.boards.append(BoardState(board.tank, board.name, is_online, message.received_us))
                batch.is_urgent = True
