"""The loop of the service with a line that a test feeds by hand; store, engine and router are real."""

from __future__ import annotations

import logging
from collections import deque
from collections.abc import Sequence
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from sqlite3 import connect

from collector.clock import Clock
from collector.configuration import (
    BoardConfiguration,
    Configuration,
    MqttConfiguration,
    PageConfiguration,
    SeriesConfiguration,
    SourceConfiguration,
    StoreConfiguration,
    TankConfiguration,
)
from collector.derivation import Derivations
from collector.errors import StoreError
from collector.intake.arrivals import Arrivals
from collector.intake.crossings import Crossings
from collector.intake.judging import Judge
from collector.intake.loop import Intake
from collector.intake.neighbours import Telling
from collector.intake.published import request_topic
from collector.intake.sorting import Sorter
from collector.intake.unstored import UnstoredMessages
from collector.learning import recorded_versions
from collector.messages import NewMessage
from collector.mqtt import CaughtUp, Connected, Disconnected, Message, Receipt, Received
from collector.problems import ProblemLog
from collector.routing import Router
from collector.store import Commit, Committed, IncidentRecord, Store, StoreReader
from collector.telling import Answering, Desk
from collector.telling.lives import Lives
from collector.timekeeping import Trust
from collector.units import converter
from rules import (
    AlarmRaised,
    AlarmReturned,
    Engine,
    EngineRules,
    Event,
    GapLimits,
    GrossRangeLimits,
    IncidentOpened,
    LimitAlarm,
    Priority,
    SeriesRules,
    TankRules,
)

SECOND = 1_000_000
MINUTE = 60 * SECOND
START_US = 1_790_000_000 * SECOND

TEMPERATURE, REDOX = 0, 1


REEF = TankRules("reef")


def configuration(folder: Path, tank: TankRules = REEF) -> Configuration:
    """One tank: a temperature that arrives with its time or without, a redox potential, a board."""
    danger = LimitAlarm(27.0, True, True, 0.2, MINUTE, MINUTE, Priority.URGENT)
    rules = (
        SeriesRules(
            "reef",
            "temperature",
            "temperature",
            gross_range=GrossRangeLimits(-5.0, 60.0),
            gap=GapLimits(15 * MINUTE),
            limit_alarms=(danger,),
        ),
        SeriesRules("reef", "redox", "redox_potential", gross_range=GrossRangeLimits(-1000.0, 1000.0)),
    )
    one = {"tank": "reef"}
    return Configuration(
        mqtt=MqttConfiguration(),
        store=StoreConfiguration(folder),
        page=PageConfiguration(enabled=False),
        people=(),
        tanks=(TankConfiguration("reef", "The reef", tank),),
        series=(
            SeriesConfiguration("reef", "temperature", "temperature"),
            SeriesConfiguration("reef", "redox", "redox_potential"),
        ),
        sources=(
            SourceConfiguration(
                "timed", "json", values={"/v": "temperature"}, time="/t", time_format="unix_us", **one
            ),
            SourceConfiguration("temperature", "number", series="temperature", **one),
            SourceConfiguration("redox", "number", series="redox", **one),
            SourceConfiguration("senml", "senml", values={"t": "temperature", "r": "redox"}, **one),
        ),
        boards=(BoardConfiguration("reef", "sump", "sump/status", series=("temperature",)),),
        engine=EngineRules((tank,), rules),
    )


class Line:
    """A session with the broker whose rounds are laid ready by the test."""

    def __init__(self) -> None:
        self.rounds: deque[Received] = deque()
        self.acknowledged: list[Receipt] = []
        self.marks = 0
        self.window = 1000
        self.waited_s: float | None = None
        self.connection = 0
        self._arrived = 0
        self._next_id = 1

    @property
    def unacknowledged(self) -> int:
        done = max((one.up_to for one in self.acknowledged if one.connection == self.connection), default=0)
        return self._arrived - done

    def receive(self, timeout_s: float) -> Received:
        self.waited_s = timeout_s
        if self.rounds:
            return self.rounds.popleft()
        return Received((), None, None, Receipt(self.connection, self._arrived), True)

    def acknowledge(self, receipt: Receipt) -> None:
        self.acknowledged.append(receipt)

    def mark(self) -> None:
        self.marks += 1

    # -- what tests lay ready ------------------------------------------------------------------

    def connect(self, *, session_present: bool = True) -> None:
        self.connection += 1
        self._arrived = 0
        change = Connected(self.connection, session_present)
        self.rounds.append(Received((), None, change, Receipt(self.connection, 0), True))

    def lose(self) -> None:
        receipt = Receipt(self.connection, self._arrived)
        self.rounds.append(Received((), None, Disconnected(self.connection), receipt, True))

    def bring(self, *messages: Message, caught_up: int | None = None) -> None:
        self._arrived += len(messages) + (caught_up is not None)
        marker = None if caught_up is None else CaughtUp(caught_up, was_heard=True)
        receipt = Receipt(self.connection, self._arrived)
        self.rounds.append(Received(messages, marker, None, receipt, True))


class Keeper:
    """A real store that can be made to refuse."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.is_refusing = False
        self.commits: list[Commit] = []

    def commit(self, batch: Commit) -> Committed:
        if self.is_refusing:
            raise StoreError("the disk is full")
        done = self.store.commit(batch)
        self.commits.append(batch)
        return done

    def forget_arrivals(self) -> None:
        if self.is_refusing:
            raise StoreError("the disk is full")
        self.store.forget_arrivals()


class Running:
    """The loop, wired as the service does it, at an instant that the test moves on."""

    def __init__(
        self,
        folder: Path,
        *,
        interval_s: float = 0.0,
        now_us: int = START_US,
        has_board: bool = True,
        tank: TankRules = REEF,
    ) -> None:
        self.now_us = now_us
        self.trust = Trust()
        self.tank = tank
        self.interval_s = interval_s
        self.successor: Running | None = None
        self.line = Line()
        self.unstored = UnstoredMessages()
        self.configuration = configuration(folder, tank)
        if not has_board:
            self.configuration = replace(self.configuration, boards=())
        self.store = Store(self.configuration.store.path, synchronous="OFF")
        self.ids = self.store.register(self.configuration.series)
        self.keeper = Keeper(self.store)
        self.reader = StoreReader(self.configuration.store.path)
        engine = Engine(self.configuration.engine)
        boards = {(one.tank, one.name): one.series for one in self.configuration.boards}
        self.judge = Judge(engine, boards)
        last_us = self.reader.last_engine_us
        from_us = (now_us if last_us is None else last_us) - engine.look_back_us
        versions = recorded_versions(self.reader, self.ids, from_us)
        self.judge.replay(self.reader.recorded_blocks(self.ids, from_us), versions)
        self.judge.restore(
            self.reader.open_incidents(), self.reader.open_alarms(), self.reader.last_incident_number
        )
        arrivals = Arrivals(self.store.arrivals())
        clock = Clock(wall=lambda: self.now_us)
        sorter = Sorter(
            Router(self.configuration, converter),
            ProblemLog(logging.getLogger("problems"), clock),
            Derivations(self.configuration),
            arrivals,
            Crossings(self.configuration.engine.series),
            self.configuration.boards,
            {request_topic("reef"): "reef"},
            lambda: self.trust,
        )
        self.intake = Intake(
            self.line,
            self.keeper,
            sorter,
            self.judge,
            arrivals,
            tell=_tell,
            unstored=self.unstored,
            clock=clock,
            commit_interval_s=interval_s,
            monotonic=lambda: self.now_us / SECOND,
        )
        desk = Desk(self.configuration, (), Lives({}))
        self.answering = Answering(
            desk, ["reef"], [(one.tank, one.name) for one in self.configuration.series]
        )
        self.intake.begin()
        self.line.connect(session_present=bool(self.reader.latest()))
        self.rounds()

    def close(self) -> None:
        self.reader.close()
        self.store.close()
        if self.successor is not None:
            self.successor.close()

    def again(self, *, has_board: bool = True) -> Running:
        """The service after a kill: everything that was only in memory is gone."""
        self.close()
        folder = self.configuration.store.folder
        self.successor = Running(
            folder, interval_s=self.interval_s, now_us=self.now_us, has_board=has_board, tank=self.tank
        )
        return self.successor

    def be_live(self) -> None:
        self.line.bring(caught_up=0)
        self.rounds()

    def rounds(self, count: int = 2) -> None:
        for _ in range(count):
            self.intake.round()

    def pass_time(self, seconds: float, step_s: float = 1.0) -> None:
        """Let time pass, round by round."""
        end_us = self.now_us + round(seconds * SECOND)
        while self.now_us < end_us:
            self.now_us = min(end_us, self.now_us + round(step_s * SECOND))
            self.intake.round()

    def message(
        self,
        topic: str,
        payload: str,
        *,
        packet_id: int = 1,
        redelivered: bool = False,
        retained: bool = False,
        ago_us: int = 0,
    ) -> Message:
        return Message(topic, payload.encode(), packet_id, retained, redelivered, self.now_us - ago_us)

    def timed(self, value: float, time_us: int | None = None, **more: object) -> Message:
        time_us = self.now_us if time_us is None else time_us
        return self.message("timed", f'{{"v": {value}, "t": {time_us}}}', **more)

    def stored(self, series: int = TEMPERATURE) -> list[tuple[int, float]]:
        readings = self.reader.readings(self.ids[series], 0, 2**62)
        return list(zip(readings.times_us.tolist(), readings.values.tolist(), strict=True))

    def marks(self, series: int = TEMPERATURE) -> list[int]:
        return [one[0] for one in self.query(series, "flag_mark >> 4")]

    def flags(self, series: int = TEMPERATURE) -> list[int]:
        return [one[0] for one in self.query(series, "flag_mark & 15")]

    def query(self, series: int, column: str) -> Sequence[tuple[int, ...]]:
        statement = f"SELECT {column} FROM readings WHERE series = ? ORDER BY observed_us"
        with closing(connect(self.configuration.store.path)) as connection:
            return connection.execute(statement, (self.ids[series],)).fetchall()

    def alarms(self) -> list[tuple[str, str]]:
        return [(type(one).__name__, one.alarm.cause) for one in self.reader.alarm_events(0, 2**62)]


def _tell(events: Sequence[Event], now_us: int) -> Telling:
    """One message an opened incident, to the only person there is."""
    records, messages = [], []
    for event in events:
        if isinstance(event, AlarmRaised | AlarmReturned):
            continue
        incident = event.incident
        records.append(IncidentRecord(incident, incident.cause, ""))
        if isinstance(event, IncidentOpened):
            words = (incident.cause, "", incident.priority)
            messages.append(NewMessage(incident.number, "opened", "sam", "json", now_us, now_us, *words))
    return Telling(records, messages)
