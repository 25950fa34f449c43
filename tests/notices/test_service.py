"""Notices of the real service, over a real phone: after an outage, and while its broker is away."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from rules import MICROSECONDS
from tests.broker import Mosquitto
from tests.delivery.receivers import WebReceiver
from tests.test_crash import SETTINGS, count
from tests.test_service import Service

pytestmark = pytest.mark.broker


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    broker = Mosquitto(tmp_path / "broker")
    broker.start()
    yield broker
    broker.stop()


def live_back(path: Path, minutes: int) -> None:
    """Let everything in the store have happened so many minutes earlier."""
    shift = minutes * 60 * MICROSECONDS
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("UPDATE commits SET committed_us = committed_us - ?", (shift,))
        connection.execute("UPDATE readings SET observed_us = observed_us - ?", (shift,))
        connection.execute("DELETE FROM meta WHERE key = 'alive'")


def test_after_an_outage_the_phone_is_told_once_what_was_missed(tmp_path: Path, broker: Mosquitto) -> None:
    with WebReceiver() as phone:
        text = SETTINGS.format(port=broker.port, interval="50 ms")
        started: list[Service] = []

        def start() -> Service:
            started.append(Service(tmp_path, broker.port, has_page=False, urls=phone.url, text=text))
            return started[-1]

        try:
            service = start()
            service.until(service.is_live)
            assert broker.publish("boards/timeless", "301")
            service.until(lambda: count(service.path) == 1)
            assert service.stop() == 0
            assert phone.rings == []
            live_back(service.path, 90)
            service = start()
            service.until(lambda: len(phone.rings) == 1, 40)
            assert service.stop() == 0
            ((title, body),) = phone.rings
            assert title == "Brinebell was away for 1 h 30 min"
            assert body.endswith("No readings of that time: Redox. No alarm is open now.")
            service = start()
            service.until(service.is_live)
            assert service.stop() == 0
            assert len(phone.rings) == 1
        finally:
            for one in started:
                if one.process.poll() is None:
                    one.process.kill()
                    one.process.wait(10)


def test_a_broker_that_is_away_is_told(tmp_path: Path, broker: Mosquitto) -> None:
    with WebReceiver() as phone:
        text = SETTINGS.format(port=broker.port, interval="50 ms")
        text = text.replace("[mqtt]\n", '[mqtt]\noutage_after = "10 s"\n')
        service = Service(tmp_path, broker.port, has_page=False, urls=phone.url, text=text)
        try:
            service.until(service.is_live)
            broker.stop()
            service.until(lambda: len(phone.rings) == 1, 120)
            title, body = phone.rings[0]
            assert title == "Nothing is watched: the broker is away"
            assert f"127.0.0.1:{broker.port} cannot be reached" in body
            broker.start()
            service.until(lambda: service.log.count("connected to") == 2, 60)
            assert service.stop() == 0
            assert "Traceback" not in service.log
            assert len(phone.rings) == 1
        finally:
            if service.process.poll() is None:
                service.process.kill()
                service.process.wait(10)
