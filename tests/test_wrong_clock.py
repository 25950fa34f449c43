"""The service on a machine whose clock is wrong: it boots in the past, or is set while the service runs.

A Raspberry Pi has no clock that runs while it is off. The service is the real one, over a real broker;
libfaketime moves its clock by what a file says. Monotonic time stays true, as it does on such a machine.
"""

from __future__ import annotations

import json
import signal
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from sqlite3 import connect

import pytest

from collector.notices import OUTAGE_NOTE
from collector.readings import Mark
from collector.store import StoreReader
from rules import MICROSECONDS
from tests.broker import Listener, Mosquitto, mosquitto
from tests.test_crash import SETTINGS
from tests.test_service import Service

pytestmark = [pytest.mark.broker, pytest.mark.faketime]

MINUTE_US = 60 * MICROSECONDS
HOT = "brinebell/reef/alarms/temperature/over_limit"
# Of a board that leaves the time to the service.
TIMELESS = "brinebell/reef/alarms/redox/over_limit"
TEXT = SETTINGS.replace(
    'quantity = "redox_potential"',
    'quantity = "redox_potential"\nalarm_high = "450 mV"\non_delay = "1 s"\noff_delay = "1 s"',
)


class Machine:
    """One that runs the service, with a clock that a test sets."""

    def __init__(self, folder: Path, broker: Mosquitto, monkeypatch: pytest.MonkeyPatch) -> None:
        self.folder, self.broker = folder, broker
        self._offset = folder / "offset"
        library = next(Path("/usr/lib").glob("*/faketime/libfaketime.so.1"))
        for name, value in {
            "LD_PRELOAD": str(library),
            "FAKETIME_TIMESTAMP_FILE": str(self._offset),
            "FAKETIME_NO_CACHE": "1",
            # Python's timed waits are of monotonic time, and hang where that is moved.
            "FAKETIME_DONT_FAKE_MONOTONIC": "1",
        }.items():
            monkeypatch.setenv(name, value)
        self.set_clock("+0")

    def set_clock(self, offset: str) -> None:
        """Set its clock apart from the true one, such as "-3d"; whole files only are read."""
        new = self._offset.with_suffix(".new")
        new.write_text(offset)
        new.replace(self._offset)

    def start(self) -> Service:
        text = TEXT.format(port=self.broker.port, interval="50 ms")
        self.service = Service(self.folder, self.broker.port, has_page=False, urls="", text=text)
        self.service.until(self._is_connected)
        return self.service

    def _is_connected(self) -> bool:
        return "connected to" in self.service.log and self.service.is_live()

    def publish(self, value: float) -> None:
        """A board that knows the true time says a temperature."""
        at_us = time.time_ns() // 1000
        assert self.broker.publish("boards/timed", f'{{"value": {value}, "time": {at_us}}}')

    def until_told(self, heard: Listener, state: str, value: float) -> None:
        """Publish a temperature and 16 times as many millivolts until both alarms are told in that state."""

        def is_told() -> bool:
            self.publish(value)
            assert self.broker.publish("boards/timeless", str(round(value * 16, 3)))
            payloads = [heard[topic] for topic in (HOT, TIMELESS)]
            return all(payload and json.loads(payload)["state"] == state for payload in payloads)

        self.service.until(is_told, 30)

    def rows(self, series: str) -> list[tuple[int, float, int]]:
        """Time, value and mark of what is stored, in the order of arrival."""
        sql = (
            "SELECT observed_us, value, flag_mark >> 4 FROM readings "
            "JOIN series ON series.id = readings.series WHERE name = ? ORDER BY commit_no, observed_us"
        )
        with closing(connect(self.service.path)) as connection:
            return connection.execute(sql, (series,)).fetchall()

    def are_of_unknown_time(self, from_us: int) -> bool:
        """Whether all readings from an instant on are marked so; there are some of both series."""
        found = [[row for row in self.rows(name) if row[0] >= from_us] for name in ("temperature", "redox")]
        assert all(found)
        return all(mark & Mark.TIME_UNKNOWN for rows in found for _, _, mark in rows)

    def outage(self) -> str:
        """Since when nobody watched, as long as it is to be told."""
        with StoreReader(self.service.path) as reader:
            return reader.note(OUTAGE_NOTE) or ""


@pytest.fixture
def machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Machine]:
    with mosquitto(tmp_path / "broker") as broker:
        machine = Machine(tmp_path, broker, monkeypatch)
        yield machine
        if machine.service.process.poll() is None:
            machine.service.process.kill()
            machine.service.process.wait(10)


def test_whatever_its_clock_says_it_rings_and_it_flags_what_nobody_knows_the_time_of(
    machine: Machine,
) -> None:
    with Listener(machine.broker.port) as heard:
        # A new machine that has never heard what time it is.
        machine.set_clock("-20000d")
        service = machine.start()
        machine.until_told(heard, "unacknowledged", 29.5)
        assert machine.are_of_unknown_time(0)
        # It hears it, three hours ago; then the current fails.
        machine.set_clock("-3h")
        service.until(lambda: "is right again" in service.log)
        machine.until_told(heard, "returned to normal, unacknowledged", 25.0)
        known_us = min(machine.rows(name)[-1][0] for name in ("temperature", "redox"))
        assert not machine.are_of_unknown_time(known_us)
        service.stop(signal.SIGKILL)
        # The current is back now, and the clock goes on from where it was saved three hours before that.
        machine.set_clock("-6h")
        service = machine.start()
        machine.until_told(heard, "unacknowledged", 29.5)
        assert machine.are_of_unknown_time(known_us + MINUTE_US // 60)
        assert "behind what was recorded" in service.log
        assert abs(int(machine.outage()) - known_us) < MINUTE_US
        machine.set_clock("+0")
        service.until(lambda: "is right again" in service.log)
        right_us = time.time_ns() // 1000
        machine.until_told(heard, "returned to normal, unacknowledged", 25.0)
        assert not machine.are_of_unknown_time(right_us)
        assert abs(machine.rows("redox")[-1][0] - time.time_ns() // 1000) < MINUTE_US
        service.until(lambda: machine.outage() == "")
        # Somebody sets it back.
        machine.set_clock("-1h")
        machine.until_told(heard, "unacknowledged", 29.5)
        assert service.stop() == 0
