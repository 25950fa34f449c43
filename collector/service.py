"""The service: wires intake, engine, store, delivery and page, and runs them until told to stop.

Threads: the one that calls `serve` runs the intake loop and owns everything; two "delivery" threads
belong to the delivery workers, one for the store's outbox and one for what the store refuses; "pages"
belongs to the page, and "archive" asks the database for it; "sign of life" asks for the address elsewhere,
if there is one; each attempt to reach the broker has a short-lived one of its own, and so has the fitting
process of the night.
"""

from __future__ import annotations

import gc
import hashlib
import logging
import time
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from datetime import UTC, datetime
from functools import partial

from collector.clock import NOTE as CLOCK_NOTE
from collector.clock import Clock
from collector.configuration import Configuration
from collector.database import start_archive
from collector.delivery import DeliveryWorker, channel_names
from collector.derivation import restored_derivations
from collector.errors import StoreError
from collector.health import HealthWatch
from collector.intake import (
    Arrivals,
    Asking,
    Crossings,
    Intake,
    Judge,
    LastMessages,
    Sorter,
    Telling,
    UnstoredMessages,
    request_topic,
)
from collector.learning import (
    Nightly,
    first_refits_us,
    recorded_versions,
    standing,
    standing_heat,
    tasks_of,
)
from collector.links import LINK_KEY, Links, link_key
from collector.liveness import SignOfLife, Systemd, WebSign
from collector.mirror import start_mirror
from collector.mqtt import Session
from collector.notices import ChannelReports, Notices, Watched, missed, notices_of
from collector.picture.pictures import Pictures
from collector.problems import ProblemLog
from collector.publishing import AnswerPublisher, Publisher
from collector.requests import Plan
from collector.routing import Router
from collector.store import Commit, IncidentRecord, Outbox, RequestBox, Reserve, Store, StoreReader, Upkeep
from collector.telling import Answering, people_of, restored_desk
from collector.timekeeping import Timekeeping
from collector.units import converter
from collector.wording import Kind, message_for
from rules import (
    HOUR_US,
    MICROSECONDS,
    AlarmRaised,
    AlarmReturned,
    Engine,
    Event,
    IncidentEnded,
    Suppressed,
)

_LOG = logging.getLogger(__name__)

# How often it is noted that the service lives, for who looks after an outage for when it began.
ALIVE_S = 60.0
_ALIVE = "alive"


class Service:
    """The parts, wired; they are closed by `stack`, the last one first.

    Parameters
    ----------
    configuration, clock
        As `collector.serving.serve`.
    stack
        Owns what is opened here.
    takes_over
        Asked when the service is told to reload, between two rounds: whether another one takes over from it,
        for which it then makes room.
    """

    def __init__(
        self,
        configuration: Configuration,
        clock: Clock,
        stack: ExitStack,
        takes_over: Callable[[], bool] = lambda: False,
    ) -> None:
        self._configuration = configuration
        self._is_stopping = False
        self._is_told_to_reload = False
        self._takes_over = takes_over
        path = configuration.store.path
        self._store = stack.enter_context(Store(path))
        self._reserve = Reserve(path)
        self._ids = self._store.register(configuration.series)
        self._reader = stack.enter_context(StoreReader(path))
        self._time = Timekeeping(clock, self._lived_us())
        self._clock = clock = self._time.clock
        is_mirrored = configuration.database is not None
        self._upkeep = Upkeep(self._store, configuration.store.keep_us, is_mirrored=is_mirrored)
        digest = hashlib.sha256(configuration.text.encode()).hexdigest()
        self._store.record_configuration(configuration.text, digest, clock.now_us())
        # For commands, which count "for 1 h" from the same now.
        self._remember(CLOCK_NOTE, self._time.note())
        self._judge = self._start_judge()
        public_url = configuration.page.public_url
        self._links = Links(link_key(path.with_name(LINK_KEY)), public_url or "")
        self._desk = restored_desk(
            configuration,
            people_of(configuration, channel_names),
            self._reader,
            clock.now_us(),
            None if public_url is None else self._links,
        )
        stack.callback(self._nightly.close)
        outbox = stack.enter_context(Outbox(path))
        pictures = Pictures(self._reader, configuration, lambda: self._nightly.standing, clock)
        reports = ChannelReports(self._desk.people, configuration.tanks[0].rules.time_zone)
        delivery = stack.enter_context(
            DeliveryWorker(configuration, outbox, clock=clock, report=reports, picture=pictures)
        )
        self._mirror = start_mirror(configuration, clock, stack)
        unstored = UnstoredMessages()
        ringing = stack.enter_context(DeliveryWorker(configuration, unstored, clock=clock))
        router = Router(configuration, converter)
        asked = {
            request_topic(tank.name): tank.name
            for tank in configuration.tanks
            if configuration.mqtt.takes_requests
        }
        self._session = Session(
            configuration.mqtt,
            [*router.filters(), *(board.topic for board in configuration.boards), *asked],
            clock.now_us,
            recall=self._store.note,
            remember=self._remember,
        )
        stack.callback(self._session.close)
        self._notices = self._start_notices()
        self._alive_at_s = 0.0
        self._publisher = Publisher(
            self._session, configuration, recall=self._store.note, remember=self._remember
        )
        self._publisher.restore(self._reader, self._ids)
        url = configuration.sign_of_life_url
        self._life = SignOfLife(
            self._session,
            Systemd(),
            None if url is None else stack.enter_context(WebSign(url)),
            lambda: _rfc3339(clock.now_us()),
        )
        arrivals = Arrivals(self._store.arrivals())
        self._last_messages = LastMessages()
        sorter = Sorter(
            router,
            ProblemLog(logging.getLogger("collector.problems"), clock),
            restored_derivations(configuration, self._reader, self._ids),
            arrivals,
            Crossings(configuration.engine.series),
            configuration.boards,
            asked,
            self._time.trust,
            self._last_messages.hear,
        )

        answers = AnswerPublisher(self._session)

        def hear(commit: Commit) -> None:
            self._publisher.hear(commit)
            answers.hear(commit)

        def wake() -> None:
            delivery.wake()
            ringing.wake()

        self._intake = Intake(
            self._session,
            self._store,
            sorter,
            self._judge,
            arrivals,
            tell=self._tell,
            unstored=unstored,
            clock=clock,
            on_messages=wake,
            on_commit=hear,
            notices=self._notices.drain,
            commit_interval_s=configuration.store.commit_interval_s,
        )
        self._plan = Plan(
            self._reader.known_works(),
            [tank.name for tank in configuration.tanks],
            configuration.works,
            self._reader.once_known_works(clock.now_us() - 48 * HOUR_US),
            self._reader.imported_works(),
        )
        answering = Answering(
            self._desk,
            [tank.name for tank in configuration.tanks],
            [(one.tank, one.name) for one in configuration.series],
        )
        self._asking = Asking(self._reader, self._intake, self._plan, answering, clock)
        self._health = HealthWatch(
            configuration,
            clock.now_us,
            lambda: self._intake.line_state,
            lambda: self._intake.is_refused,
        )
        # As of the last round, for the thread of the page.
        self._suppressed: tuple[Suppressed, ...] = ()
        self._serve_page(stack)

    def run(self) -> None:
        """Take in readings until told to stop, then commit and acknowledge what was received."""
        # What is loaded by now stays: the collector need not look at it again and again.
        gc.collect()
        gc.freeze()
        # Before the backlog: what was asked while the service was away counts for what is in it.
        self._asking.turn()
        self._turn_notices()
        self._intake.begin()
        self._life.ready()
        while not self._is_stopping:
            self._intake.round()
            now_us = self._clock.now_us()
            if self._asking.turn():
                self._suppressed = self._judge.engine.suppressed
                self._desk.suppress([one.alarm for one in self._suppressed if one.to_us > now_us], now_us)
                wakes_us = self._desk.wakes_us
                if wakes_us is not None and wakes_us <= now_us:
                    self._intake.call()
            if self._turn_notices():
                self._intake.call()
            self._publisher.turn(now_us, self._nightly.standing)
            learned = self._nightly.turn(now_us)
            if learned is not None:
                self._intake.learn(learned, now_us)
            if not self._intake.is_refused:
                self._upkeep.turn(now_us)
            self._life.turn(is_refused=self._intake.is_refused)
            self._health.turn(self._session)
            if self._is_told_to_reload:
                self._is_told_to_reload = False
                if self._takes_over():
                    break
        if self._is_stopping:
            self._life.stopping()
        else:
            self._life.reloading()
        self._intake.finish()

    def stop(self) -> None:
        """Let `run` return soon; may be called from any thread and from a signal handler."""
        self._is_stopping = True
        self._session.wake()

    def reload(self) -> None:
        """Let `run` return soon if another service takes over; may be called as `stop` may."""
        self._is_told_to_reload = True
        self._session.wake()

    # -- starting the parts ------------------------------------------------------------------------

    def _start_judge(self) -> Judge:
        """Bring a fresh engine to where the last one was: by what was recorded of the look-back."""
        configuration, reader = self._configuration, self._reader
        now_us = self._clock.now_us()
        engine = Engine(configuration.engine)
        boards = {(board.tank, board.name): board.series for board in configuration.boards}
        judge = Judge(engine, boards)
        last_us = reader.last_engine_us
        # None: stopped before the first backlog was over, which is then judged at the end of this one.
        from_us = (now_us if last_us is None else last_us) - engine.look_back_us
        self._nightly = self._start_nightly()
        versions = recorded_versions(reader, self._ids, from_us)
        judge.replay(reader.recorded_blocks(self._ids, from_us), versions)
        indexes = {number: index for index, number in enumerate(self._ids)}
        for latest in reader.latest():
            if latest.series.id in indexes and latest.value is not None:
                engine.remember(indexes[latest.series.id], latest.observed_us, latest.value)
        judge.restore(reader.open_incidents(), reader.open_alarms(), reader.last_incident_number)
        return judge

    def _start_nightly(self) -> Nightly:
        """Fit what is learned of each tank in its own night."""
        configuration, reader, now_us = self._configuration, self._reader, self._clock.now_us()
        tasks = tasks_of(configuration, self._ids)
        known = standing(reader, self._ids, now_us)
        first_us = first_refits_us(
            tasks, known, standing_heat(reader, now_us), now_us, recorded_us=reader.extent_us
        )
        return Nightly(configuration.store.path, self._store, tasks, known, first_us=first_us)

    def _start_notices(self) -> Notices:
        mirror = self._mirror
        return notices_of(
            self._configuration,
            self._store.note,
            self._desk.people,
            Watched(
                lived_us=self._lived_us(),
                now_us=self._clock.now_us(),
                begun_us=self._time.begun_us,
                missed=partial(missed, self._reader, self._configuration, self._ids),
                refused_since_us=lambda: self._intake.line_state.refused_since_us,
                works=lambda: self._plan.works,
                suppressed=lambda: self._suppressed,
                mirror_health=None if mirror is None else lambda: mirror.health,
            ),
        )

    def _lived_us(self) -> int | None:
        """When the service lived last, by what is recorded; None if it never did."""
        lived = [self._reader.last_commit_us, int(self._store.note(_ALIVE) or 0) or None]
        return max((at_us for at_us in lived if at_us is not None), default=None)

    def _turn_notices(self) -> bool:
        """Whether there is something to tell of the service itself; notes now and then that it lives."""
        now_us, now_s = self._clock.now_us(), time.monotonic()
        if self._time.turn():
            self._remember(CLOCK_NOTE, self._time.note())
        if now_s >= self._alive_at_s:
            # The first one comes when an outage before it has been noted.
            if self._alive_at_s and not self._intake.is_refused:
                self._remember(_ALIVE, str(now_us))
            if not self._intake.is_refused:
                self._reserve.keep()
            self._alive_at_s = now_s + ALIVE_S
        line = self._intake.line_state
        return self._notices.turn(now_us, is_connected=line.is_connected, is_catching_up=line.is_catching_up)

    def _remember(self, key: str, note: str) -> None:
        """Keep a note of the session; without it the next start only takes longer."""
        try:
            self._store.set_note(key, note)
        except StoreError as error:
            _LOG.warning("%s could not be remembered: %s", key, error)

    def _serve_page(self, stack: ExitStack) -> None:
        if not self._configuration.page.enabled:
            return
        from collector.pages import Answers, BrokerState, serve_in_thread

        path, archive = self._configuration.store.path, start_archive(self._configuration, stack)
        page = serve_in_thread(
            self._configuration,
            lambda: StoreReader(path, archive),
            self._clock,
            broker=lambda: BrokerState(*self._intake.line_state),
            usual=lambda: self._nightly.standing,
            suppressed=lambda: self._suppressed,
            answers=Answers(self._links, lambda: RequestBox(path)),
            health=self._health.last,
            messages=self._last_messages.all,
        )
        stack.callback(page.close)

    def _tell(self, events: Sequence[Event], now_us: int) -> Telling:
        self._desk.hear(events, now_us)
        self._desk.turn(now_us)
        records = []
        for event in events:
            if isinstance(event, AlarmRaised | AlarmReturned):
                continue
            kind: Kind = "ended" if isinstance(event, IncidentEnded) else "opened"
            words = message_for(event.incident, self._configuration, kind=kind, now_us=now_us)
            records.append(IncidentRecord(event.incident, words.title, words.body))
        return Telling(records, *self._desk.drain(now_us))


def _rfc3339(at_us: int) -> str:
    return f"{datetime.fromtimestamp(at_us // MICROSECONDS, UTC):%Y-%m-%dT%H:%M:%SZ}"
