"""A running service takes a changed configuration on SIGHUP, and loses no reading over it."""

from __future__ import annotations

import signal
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from sqlite3 import connect

import pytest

from collector.store import StoreReader
from rules import AlarmRaised
from tests.broker import mosquitto
from tests.test_crash import Publisher, count, timeless
from tests.test_service import Service
from tests.test_service import start as start

pytestmark = pytest.mark.broker


def reread(service: Service, change: Callable[[str], str]) -> None:
    service.settings.write_text(change(service.settings.read_text()))
    service.process.send_signal(signal.SIGHUP)


def raised(path: Path) -> list[float]:
    with StoreReader(path) as reader:
        return [one.evidence.limit for one in reader.alarm_events(0, 2**62) if isinstance(one, AlarmRaised)]


def test_new_limits_count_from_then_on_and_no_reading_is_lost(tmp_path: Path, start: Callable[..., Service]):
    with mosquitto(tmp_path / "broker") as broker:
        service = start(broker.port, has_page=True)
        service.until(service.is_live)
        publisher = Publisher(broker, "boards/timeless", timeless)
        publisher.start()
        try:
            for number in range(3):
                before = count(service.path)
                service.until(lambda known=before: count(service.path) > known)
                reread(service, lambda text, to=24 - number: _with_limit(text, to))
                service.until(lambda times=number + 1: service.log.count("is taken from here on") == times)
        finally:
            publisher.stop()
        service.until(lambda: count(service.path) == len(publisher.acknowledged))
        # 25 degC is beyond the limit that was read last, and not beyond the first one.
        begun_us = time.time_ns() // 1000
        for second in range(3):
            at_us = begun_us + second * 1_000_000
            assert broker.publish("boards/timed", f'{{"value": 25.0, "time": {at_us}}}')
        service.until(lambda: raised(service.path) == [22.0], 30.0)
        assert service.stop() == 0
    assert not publisher.refused
    with closing(connect(service.path)) as connection:
        series = dict(connection.execute("SELECT name, id FROM series"))
        stored = [
            value
            for (value,) in connection.execute(
                "SELECT value FROM readings WHERE series = ?", (series["redox"],)
            )
        ]
        configurations = connection.execute("SELECT count(*) FROM configurations").fetchone()[0]
    assert sorted(stored) == sorted(publisher.acknowledged)
    assert configurations == 4
    assert "Traceback" not in service.log


def _with_limit(text: str, to: float) -> str:
    head, _, rest = text.partition('alarm_high = "')
    return f'{head}alarm_high = "{to} degC"{rest.partition(" degC")[2].removeprefix(chr(34))}'


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda text: text.replace('"27 degC"', '"27 cm"'), "read again and is not taken"),
        # Well formed, but not what the store holds: it shows when the next one starts.
        (
            lambda text: text.replace('"redox_potential"', '"ph"'),
            "the new configuration cannot be used, the one before goes on",
        ),
    ],
)
def test_what_cannot_be_used_leaves_the_service_as_it_was(
    tmp_path: Path, start: Callable[..., Service], change: Callable[[str], str], says: str
):
    with mosquitto(tmp_path / "broker") as broker:
        service = start(broker.port)
        service.until(service.is_live)
        reread(service, change)
        service.until(lambda: says in service.log)
        assert broker.publish("boards/timeless", "301")
        service.until(lambda: count(service.path) == 1)
        assert service.stop() == 0
    assert "Traceback" not in service.log
