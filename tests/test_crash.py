"""The service killed at random instants, over a real broker: what the broker acknowledged is stored once.

The publisher is `mosquitto_pub`, one process a publication: its exit status 0 says that the broker has
acknowledged. The service is `brinebell run`, killed with SIGKILL and started again; in the middle the
broker itself is restarted.
"""

from __future__ import annotations

import itertools
import os
import random
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from collector.settings import load_configuration
from collector.store import StoreReader
from rules import AlarmKey, AlarmRaised, AlarmReturned, Block, Engine, EngineRules, IncidentOpened
from tests.broker import Mosquitto, mosquitto
from tests.delivery.receivers import wait_for

pytestmark = pytest.mark.broker

Alarm = tuple[str, AlarmKey, int]
KILLS = 50
SETTINGS = """
[service]
folder = "data"
commit_interval = "{interval}"

[mqtt]
port = {port}

[page]
enabled = false

[tanks.reef]
time_zone = "UTC"

[tanks.reef.series.temperature]
quantity = "temperature"
alarm_high = "27 degC"
on_delay = "1 s"
off_delay = "1 s"

[tanks.reef.series.redox]
quantity = "redox_potential"

[[sources]]
topic = "boards/timed"
format = "json"
tank = "reef"
values = {{ "/value" = "temperature" }}
time = "/time"
time_format = "unix_us"

[[sources]]
topic = "boards/timeless"
format = "number"
tank = "reef"
series = "redox"
"""


class Publisher(threading.Thread):
    """Publishes one message after another until told to stop; keeps which were acknowledged."""

    def __init__(self, broker: Mosquitto, topic: str, make: Callable[[int], tuple[str, object]]) -> None:
        super().__init__(name=f"publisher {topic}")
        self.acknowledged: list[object] = []
        self.refused: list[object] = []
        self._broker, self._topic, self._make = broker, topic, make
        self._is_stopping = threading.Event()

    def run(self) -> None:
        for number in itertools.count():
            if self._is_stopping.is_set():
                return
            payload, key = self._make(number)
            is_acknowledged = self._broker.publish(self._topic, payload)
            (self.acknowledged if is_acknowledged else self.refused).append(key)
            self._is_stopping.wait(0.04)

    def stop(self) -> None:
        self._is_stopping.set()
        self.join()


def timed(_: int) -> tuple[str, object]:
    """A temperature with its time: three seconds below the limit, three beyond."""
    time_us = time.time_ns() // 1000
    value = 25.0 + time_us % 1000 / 1000 + (4.0 if time_us // 3_000_000 % 2 else 0.0)
    return f'{{"value": {value}, "time": {time_us}}}', (time_us, value)


def timeless(number: int) -> tuple[str, object]:
    """A redox potential without a time; no two are equal."""
    return str(100 + number / 16), 100 + number / 16


def start(settings: Path) -> subprocess.Popen[bytes]:
    with (settings.parent / "service.log").open("ab") as log:
        return subprocess.Popen(
            [sys.executable, "-m", "collector", "run", "--config", str(settings)],
            stdout=log,
            stderr=log,
            env={**os.environ, "PYTHONUNBUFFERED": "1"},
        )


def count(path: Path) -> int:
    if not path.exists():
        return 0
    with closing(sqlite3.connect(path)) as connection:
        try:
            return int(connection.execute("SELECT count(*) FROM readings").fetchone()[0])
        except sqlite3.OperationalError:
            return 0  # killed before the tables were made


def wait_until_still(path: Path, seconds: float = 20.0) -> None:
    """Wait until the store has not grown for two seconds."""
    end = time.monotonic() + seconds
    last, since = count(path), time.monotonic()
    while time.monotonic() - since < 2.0:
        assert time.monotonic() < end, "the store goes on growing"
        time.sleep(0.1)
        if (now := count(path)) != last:
            last, since = now, time.monotonic()


@pytest.mark.timeout(240)
@pytest.mark.long
def test_fifty_kills_lose_nothing_that_was_acknowledged_and_double_nothing(tmp_path: Path) -> None:
    dice = random.Random(20261125)
    runs_with_progress = 0
    with mosquitto(tmp_path / "broker") as broker:
        settings = tmp_path / "brinebell.toml"
        settings.write_text(SETTINGS.format(port=broker.port, interval="50 ms"))
        configuration = load_configuration(settings, {})
        path = configuration.store.path
        subscribe_once(settings, path)
        publishers = (
            Publisher(broker, "boards/timed", timed),
            Publisher(broker, "boards/timeless", timeless),
        )
        for publisher in publishers:
            publisher.start()
        try:
            for number in range(KILLS):
                before = count(path)
                service = start(settings)
                if number % 2:
                    # Anywhere, starts included; the others somewhere behind their first commit.
                    time.sleep(dice.uniform(0.4, 1.6))
                else:
                    wait_for(lambda known=before: count(path) > known)
                    time.sleep(dice.uniform(0.0, 0.6))
                if number == KILLS // 2:
                    broker.stop(signal.SIGTERM)
                    broker.start()
                    time.sleep(dice.uniform(0.0, 1.5))
                service.kill()
                assert service.wait(10) == -signal.SIGKILL
                runs_with_progress += count(path) > before
        finally:
            for publisher in publishers:
                publisher.stop()
        service = start(settings)
        try:
            wait_until_still(path)
            # The last delays are over an allowance of the engine after the newest reading, however long the
            # start has taken: waited for here, compared below.
            with StoreReader(path) as reader:
                expected = alarms_without_interruption(reader, configuration.engine)
                wait_for(lambda: len(reader.alarm_events(0, 2**62)) >= len(expected[0]), timeout_s=60)
        finally:
            service.terminate()
        assert service.wait(15) == 0, "SIGTERM is a clean stop"
    assert runs_with_progress >= KILLS // 2
    with StoreReader(path) as reader:
        check_readings(reader, *publishers)
        check_alarms(reader, configuration.engine)


def last_live_commit(path: Path) -> int:
    """Number of the last commit outside a backlog: the first one comes after the answer to the subscriptions.

    0 if there is none. Who waits for a service that was started takes note of it before: the commits of an
    earlier run tell nothing about this one.
    """
    try:
        with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as connection:
            statement = "SELECT max(no) FROM commits WHERE engine_lag_us IS NOT NULL"
            return connection.execute(statement).fetchone()[0] or 0
    except sqlite3.OperationalError:
        # Still being made.
        return 0


def subscribe_once(settings: Path, path: Path) -> None:
    """Let the broker know the session: it keeps only what is published after that."""
    before = last_live_commit(path)
    service = start(settings)
    end = time.monotonic() + 20
    while last_live_commit(path) == before:
        assert time.monotonic() < end, (settings.parent / "service.log").read_text()
        time.sleep(0.05)
    service.terminate()
    assert service.wait(15) == 0
    assert path.exists()


def check_readings(reader: StoreReader, with_time: Publisher, without_time: Publisher) -> None:
    stored = reader.readings(reader.series_id("reef", "temperature"), 0, 2**62)
    keys = Counter(zip(stored.times_us.tolist(), stored.values.tolist(), strict=True))
    assert set(with_time.acknowledged) <= set(keys), "an acknowledged reading is missing"
    assert set(keys) <= {*with_time.acknowledged, *with_time.refused}
    assert max(keys.values()) == 1
    values = Counter(reader.readings(reader.series_id("reef", "redox"), 0, 2**62).values.tolist())
    assert set(without_time.acknowledged) <= set(values), "an acknowledged reading without a time is missing"
    assert set(values) <= {*without_time.acknowledged, *without_time.refused}
    assert values.most_common(1)[0][1] == 1, "a redelivery was taken for a new reading"
    assert reader.conflict_count == 0


def alarms_without_interruption(reader: StoreReader, rules: EngineRules) -> tuple[list[Alarm], list[int]]:
    """Alarms and numbers of incidents of an engine that sees the stored readings at one go."""
    stored = reader.readings(reader.series_id("reef", "temperature"), 0, 2**62)
    engine = Engine(rules)
    block = Block(stored.times_us, stored.values, np.zeros(len(stored.times_us), np.int64))
    events = [*engine.advance(block).events, *engine.advance_to(time.time_ns() // 1000 + 60_000_000)]
    alarms = [
        (type(event).__name__, event.alarm, event.at_us)
        for event in events
        if isinstance(event, AlarmRaised | AlarmReturned)
    ]
    return alarms, [event.incident.number for event in events if isinstance(event, IncidentOpened)]


def check_alarms(reader: StoreReader, rules: EngineRules) -> None:
    expected, opened = alarms_without_interruption(reader, rules)
    found = [(type(event).__name__, event.alarm, event.at_us) for event in reader.alarm_events(0, 2**62)]
    assert len(expected) > 10, "too few alarms to prove anything"
    assert found == expected
    assert sorted(record.incident.number for record in reader.incidents()) == opened
