"""The service in a process of its own, with people who have receivers, in a time that goes faster."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from collector.settings import load_configuration
from collector.store import StoreReader
from tests.broker import Mosquitto
from tests.telling.parts import MINUTE, at
from tests.test_crash import SETTINGS, last_live_commit

ROOT = Path(__file__).resolve().parents[2]
# Five minutes are five seconds: time enough for a loaded machine to start a process that sends.
RATE = 60.0
NOON = at("2026-05-06 12:00", "UTC")
TOPIC = "boards/degrees"
URGENT_LIMIT = 'priority = "urgent"\nalarm_high = "27 degC"\n'
SOURCE = f"""
[[sources]]
topic = "{TOPIC}"
format = "number"
tank = "reef"
series = "temperature"
"""


class Household:
    """The service in a process of its own, in a time that goes faster; `away` are names of people.

    `page` are keys of the page, which is else not served.
    """

    def __init__(
        self,
        folder: Path,
        broker: Mosquitto,
        people: dict[str, str],
        *,
        away: str = "",
        start_us: int = NOON,
        limits: str = URGENT_LIMIT,
        page: str = "",
    ) -> None:
        self.broker = broker
        self.settings = folder / "brinebell.toml"
        text = SETTINGS.format(port=broker.port, interval="50 ms") + SOURCE
        text = text.replace("[mqtt]\n", "[mqtt]\ntakes_requests = true\n")
        text = text.replace('alarm_high = "27 degC"\n', limits)
        if page:
            text = text.replace("enabled = false", f"enabled = true\n{page}")
        for name, url in people.items():
            (folder / f"{name}.urls").write_text(url)
            (folder / f"{name}.urls").chmod(0o600)
            text += f'[people.{name}]\nurls_file = "{name}.urls"\n'
            if name in away:
                text += 'away = [["2026-05-05", "2026-05-06"]]\n'
        self.settings.write_text(text)
        self.path = load_configuration(self.settings, {}).store.path
        self._log = folder / "service.log"
        self._start_us = start_us
        self._process: subprocess.Popen[bytes] | None = None
        self._begun = time.monotonic()

    def start(self) -> None:
        before = last_live_commit(self.path)
        tank_us = self._start_us + int((time.monotonic() - self._begun) * 1e6 * RATE)
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(
                [
                    sys.executable,
                    "-m",
                    "tests.telling.service_process",
                    str(self.settings),
                    str(RATE),
                    str(tank_us),
                ],
                cwd=ROOT,
                stdout=log,
                stderr=log,
                env={**os.environ, "BRINEBELL_MQTT__USERNAME": "keeper"},
            )
        self.until(lambda: last_live_commit(self.path) > before)

    @property
    def log(self) -> str:
        return self._log.read_text()

    def kill(self) -> None:
        if self._process is not None:
            self._process.kill()
            self._process.wait(10)
            self._process = None

    def until(self, is_so: Callable[[], object], seconds: float = 40.0) -> None:
        end = time.monotonic() + seconds
        while not is_so():
            assert self._process is None or self._process.poll() is None, self.log
            assert time.monotonic() < end, self.log
            time.sleep(0.05)

    def read(self, *values: float) -> None:
        """Publish readings until the alarm of the last one is there, or has returned."""
        for value in values:
            assert self.broker.publish(TOPIC, str(value))
            time.sleep(0.2)

    def alarm(self) -> None:
        self.read(28.0, 28.0, 28.0)
        self.until(lambda: self.incidents() and self.incidents()[0].incident.ended_at_us is None)

    def incidents(self) -> list:
        with StoreReader(self.path) as reader:
            return list(reader.incidents())

    @property
    def told(self) -> list[tuple[str, str]]:
        """Who was told: person and why."""
        with closing(sqlite3.connect(self.path)) as connection:
            return connection.execute("SELECT person, kind FROM outbox ORDER BY id").fetchall()

    def causes(self) -> list[str]:
        """Causes of the alarms of all incidents, as they joined."""
        return [alarm.cause for one in self.incidents() for alarm in one.incident.alarms]

    def rows(self) -> list[tuple[str, str, int]]:
        """Who was told: person, why, and minutes of tank time since the first."""
        with closing(sqlite3.connect(self.path)) as connection:
            found = connection.execute("SELECT person, kind, created_us FROM outbox ORDER BY id").fetchall()
        return [(person, kind, (us - found[0][2]) // MINUTE) for person, kind, us in found]

    def command(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "collector", *arguments, "--config", str(self.settings)],
            cwd=ROOT,
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
