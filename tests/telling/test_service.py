"""Ring, repeat, answer, next person: the real service over a real broker, to real receivers, at speed."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from itertools import pairwise
from pathlib import Path

import pytest

from collector.settings import load_configuration
from collector.store import StoreReader
from tests.broker import Mosquitto, mosquitto
from tests.delivery.receivers import WebReceiver
from tests.telling.parts import MINUTE, at
from tests.test_crash import SETTINGS, is_subscribed

pytestmark = pytest.mark.broker

ROOT = Path(__file__).resolve().parents[2]
# Five minutes are five seconds: time enough for a loaded machine to start a process that sends.
RATE = 60.0
NOON = at("2026-05-06 12:00", "UTC")
TOPIC = "boards/degrees"
SOURCE = f"""
[[sources]]
topic = "{TOPIC}"
format = "number"
tank = "reef"
series = "temperature"
"""


class Household:
    """The service in a process of its own, in a time that goes faster; `away` are names of people."""

    def __init__(
        self, folder: Path, broker: Mosquitto, people: dict[str, str], away: str = "", start_us: int = NOON
    ) -> None:
        self.broker = broker
        self.settings = folder / "brinebell.toml"
        text = SETTINGS.format(port=broker.port, interval="50 ms") + SOURCE
        text = text.replace("[mqtt]\n", "[mqtt]\ntakes_requests = true\n")
        text = text.replace("alarm_high", 'priority = "urgent"\nalarm_high')
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
        self.until(lambda: "connected to" in self.log and is_subscribed(self.path))

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


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    with mosquitto(tmp_path / "broker") as one:
        yield one


@pytest.fixture
def live(tmp_path: Path, broker: Mosquitto) -> Iterator[Callable[..., Household]]:
    started: list[Household] = []

    def make(people: dict[str, str], **more: object) -> Household:
        household = Household(tmp_path, broker, people, **more)
        started.append(household)
        household.start()
        return household

    yield make
    for one in started:
        one.kill()


def test_it_rings_and_repeats_until_somebody_acknowledges_on_the_command_line(live) -> None:
    with WebReceiver() as sam, WebReceiver() as kim:
        home = live({"sam": sam.url, "kim": kim.url})
        home.alarm()
        home.until(lambda: len(sam.rings) >= 2)
        done = home.command("acknowledge", "1", "--why", "on my way")
        assert (done.returncode, done.stderr) == (0, "")
        assert done.stdout == "Acknowledged: over limit (temperature); it rings again if it gets worse.\n"
        told = home.rows()
        # Longer than a repetition takes, and than the next person waits.
        time.sleep(16 * 60 / RATE)
        assert home.rows() == told
        assert kim.rings == []
        assert [body.split(".")[0] for _, body in sam.rings[1:2]] == ["Not acknowledged yet"]
        assert "    Acknowledged by " in home.command("incidents").stdout
        # Back to normal: told once, to who was told.
        home.read(25.0, 25.0, 25.0)
        home.until(lambda: home.rows()[-1][1] == "ended")
        home.until(lambda: sam.rings[-1][0].startswith("Ended:"))
        assert [person for person, kind, _ in home.rows() if kind == "ended"] == ["sam"]
        again = home.command("acknowledge", "1")
        assert again.returncode == 1
        assert again.stderr.startswith("Not done: incident 1 is acknowledged since ")


def test_the_next_person_is_told_when_nobody_acknowledges_and_a_kill_loses_no_step(live) -> None:
    with WebReceiver() as sam, WebReceiver() as kim:
        home = live({"sam": sam.url, "kim": kim.url})
        home.alarm()
        home.until(lambda: len(home.rows()) >= 2)
        home.kill()
        home.start()
        home.until(lambda: kim.rings)
        rows = home.rows()
        steps = [(person, kind) for person, kind, _ in rows]
        assert steps[:4] in (
            [("sam", "opened"), ("sam", "again"), ("sam", "again"), ("kim", "next")],
            # The third ring was due while the service was down for longer than that.
            [("sam", "opened"), ("sam", "again"), ("kim", "next"), *steps[3:4]],
        )
        minutes = [minute for _, _, minute in rows]
        assert all(later - earlier >= 4 for earlier, later in pairwise(minutes))
        assert minutes[steps.index(("kim", "next"))] >= 15
        assert kim.rings[0][1].startswith("Nobody has acknowledged yet.")


def test_a_probe_in_repair_is_quiet_and_what_is_wrong_behind_it_rings(live) -> None:
    with WebReceiver() as sam:
        home = live({"sam": sam.url})
        home.alarm()
        home.until(lambda: sam.rings)
        assert home.command("unshelve", "1").stderr == "Not done: nothing of incident 1 is shelved.\n"
        out = home.command("repair", "begin", "temperature", "--why", "new cable")
        assert out.stdout.startswith("Out of service: temperature in reef.")
        told = home.rows()
        time.sleep(6 * 60 / RATE)
        assert home.rows() == told
        assert home.command("repair", "end", "temperature").returncode == 0
        home.until(lambda: home.rows()[len(told) :])
        assert home.rows()[len(told)][:2] == ("sam", "back")


def test_shelved_on_the_command_line_it_is_quiet_until_it_is_over(live) -> None:
    with WebReceiver() as sam:
        # The command counts from our now, so the tank's time begins there.
        home = live({"sam": sam.url}, start_us=time.time_ns() // 1000)
        home.alarm()
        home.until(lambda: sam.rings)
        done = home.command("shelve", "1", "--for", "40 min", "--why", "asleep again")
        assert (done.returncode, done.stderr) == (0, "")
        assert done.stdout.startswith("Shelved until ")
        assert "    Shelved by " in home.command("incidents").stdout
        told = home.rows()
        time.sleep(6 * 60 / RATE)
        assert home.rows() == told
        home.until(lambda: home.rows()[len(told) :])
        assert home.rows()[len(told)][:2] == ("sam", "back")
        home.until(lambda: sam.rings[-1][1].startswith("Shelving is over."))


def test_a_button_that_publishes_acknowledges_and_a_retained_one_does_not(live, broker: Mosquitto) -> None:
    ask = '{"id": "%s", "do": "acknowledge", "incident": 1}'
    # MQTT 5.0, 3.3.1.3: who subscribes later is given it as retained.
    assert broker.publish("brinebell/reef/requests", ask % "kept", "-r")
    with WebReceiver() as sam:
        home = live({"sam": sam.url})
        home.until(lambda: "a retained request is not done" in home.log)
        home.alarm()
        home.until(lambda: sam.rings)
        assert home.incidents()[0].answer.state == "unacknowledged"
        assert broker.publish("brinebell/reef/requests", ask % "pressed")
        home.until(lambda: home.incidents()[0].answer.state == "acknowledged")
        assert home.incidents()[0].answer.who == "MQTT"


def test_who_is_away_by_the_file_is_passed_over(live) -> None:
    with WebReceiver() as sam, WebReceiver() as kim:
        home = live({"sam": sam.url, "kim": kim.url}, away="sam")
        home.alarm()
        home.until(lambda: kim.rings)
        assert sam.rings == []
