"""The service as a process: it waits for its broker, stops cleanly, stays small and starts lean."""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import httpx
import pytest

from collector.requests import BeginWork, EndWork, Request
from collector.settings import load_configuration
from collector.store import Commit, RequestBox, Store, StoreReader
from rules import HOUR_US
from tests.broker import Listener, Mosquitto, amqtt, free_port, mosquitto
from tests.delivery.receivers import WebReceiver
from tests.test_crash import SETTINGS, count, last_live_commit

pytestmark = pytest.mark.broker


ANSWERS = "brinebell/reef/answers"


class Service:
    """`brinebell run` in a process of its own."""

    def __init__(
        self, folder: Path, port: int, has_page: bool, urls: str, text: str = "", user: str = "keeper"
    ) -> None:
        self.settings = folder / "brinebell.toml"
        text = text or SETTINGS.format(port=port, interval="50 ms")
        page = f'enabled = true\nlisten = "127.0.0.1:{free_port()}"'
        if urls:
            # At whatever hour of whatever day the tests run.
            text += '[people.keeper]\nnight = ["00:00", "00:00"]\n[telling]\ntest_ring = "never"\n'
        self.settings.write_text(text.replace("enabled = false", page) if has_page else text)
        secrets = {"BRINEBELL_PEOPLE__KEEPER__URLS": urls} if urls else {}
        self.path = load_configuration(self.settings, secrets).store.path
        self._live_before = last_live_commit(self.path)
        self._log = folder / "service.log"
        with self._log.open("wb") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "collector", "run", "--config", str(self.settings)],
                stdout=log,
                stderr=log,
                env={**os.environ, "BRINEBELL_MQTT__USERNAME": user, **secrets},
            )

    @property
    def log(self) -> str:
        return self._log.read_text()

    def is_live(self) -> bool:
        """Whether its first backlog is over: until its subscriptions stand, a broker keeps nothing for it."""
        return last_live_commit(self.path) > self._live_before

    def until(self, is_so: Callable[[], bool], seconds: float = 20.0) -> None:
        end = time.monotonic() + seconds
        while not is_so():
            assert self.process.poll() is None, self.log
            assert time.monotonic() < end, self.log
            time.sleep(0.05)

    def stop(self, number: int = signal.SIGTERM) -> int:
        self.process.send_signal(number)
        return self.process.wait(20)


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Callable[..., Service]]:
    services: list[Service] = []

    def make(port: int, *, has_page: bool = False, urls: str = "", text: str = "") -> Service:
        services.append(Service(tmp_path, port, has_page, urls, text))
        return services[-1]

    yield make
    for one in services:
        if one.process.poll() is None:
            one.process.kill()
            one.process.wait(10)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_ends_it_cleanly_and_what_it_had_is_stored(
    tmp_path: Path, start: Callable[..., Service], number: int
) -> None:
    with mosquitto(tmp_path / "broker") as broker:
        service = start(broker.port)
        service.until(service.is_live)
        assert broker.publish("boards/timeless", "301")
        service.until(lambda: count(service.path) == 1)
        assert broker.publish("boards/timeless", "302")
        assert service.stop(number) == 0
        assert "Traceback" not in service.log
        # What had not arrived yet is still at the broker.
        service = start(broker.port)
        service.until(lambda: "connected to" in service.log and count(service.path) == 2)
        assert service.stop() == 0


@pytest.mark.parametrize("urls", ["", "json://127.0.0.1:9/"])
def test_its_log_tells_where_the_page_is_and_whether_nobody_would_be_told(
    start: Callable[..., Service], urls: str
) -> None:
    service = start(free_port(), has_page=True, urls=urls)
    service.until(lambda: "cannot be reached" in service.log)
    assert service.stop() == 0
    page = load_configuration(service.settings, {}).page
    assert f"the page stands at http://127.0.0.1:{page.port}/" in service.log
    assert ("nobody would be told" in service.log) is (not urls)


def test_a_broker_that_is_not_there_yet_is_waited_for(tmp_path: Path, start: Callable[..., Service]) -> None:
    broker = Mosquitto(tmp_path / "broker")
    service = start(broker.port)
    service.until(lambda: "cannot be reached" in service.log)
    broker.start()
    try:
        service.until(service.is_live)
        assert broker.publish("boards/timeless", "301")
        service.until(lambda: count(service.path) == 1)
        assert service.stop() == 0
    finally:
        broker.stop()


def test_it_stops_while_it_waits_for_a_broker(start: Callable[..., Service]) -> None:
    service = start(free_port())
    service.until(lambda: "cannot be reached" in service.log)
    begun = time.monotonic()
    assert service.stop() == 0
    assert time.monotonic() - begun < 5


def test_it_works_with_a_broker_that_refuses_mqtt_5(start: Callable[..., Service]) -> None:
    with amqtt() as port:
        service = start(port)
        service.until(service.is_live, 40)
        assert "MQTT 3.1.1" in service.log
        command = ["mosquitto_pub", "-p", str(port), "-u", "board", "-q", "1", "-t", "boards/timeless"]
        subprocess.run([*command, "-m", "301"], check=True, timeout=20)
        service.until(lambda: count(service.path) == 1)
        assert service.stop() == 0


def test_the_phone_rings_while_the_store_refuses_and_once_only(
    tmp_path: Path, start: Callable[..., Service]
) -> None:
    """Somebody holds the database locked, as a full or dying disk would refuse every commit."""
    with mosquitto(tmp_path / "broker") as broker, WebReceiver() as phone:
        service = start(broker.port, urls=phone.url)
        service.until(service.is_live)
        publish_hot(broker)
        time.sleep(0.5)
        with closing(sqlite3.connect(service.path, isolation_level=None)) as holder:
            holder.execute("BEGIN IMMEDIATE")
            time.sleep(1.5)
            publish_hot(broker)
            service.until(lambda: len(phone.rings) > 0, 60)
            assert holder.execute("SELECT count(*) FROM incidents").fetchone()[0] == 0
            holder.execute("ROLLBACK")
        service.until(lambda: "the store works again" in service.log, 60)
        with StoreReader(service.path) as reader:
            assert len(reader.incidents()) == 1
            assert reader.deliveries(1) == ()
        assert service.stop() == 0
        assert len(phone.rings) == 1


def put_ten_days(path: Path, settings: Path) -> None:
    """A temperature every quarter of an hour until now, in a store that no service has fitted."""
    configuration = load_configuration(settings, {})
    quarter_us = 15 * 60 * 1_000_000
    now_us = time.time_ns() // 1000
    with Store(path, synchronous="OFF") as store:
        store.register(configuration.series)
        rows = [
            (0, now_us - number * quarter_us, 25.0 + 0.01 * (number % 7), 1, 0, 0, 0, b"")
            for number in range(10 * 96, 0, -1)
        ]
        store.commit(Commit(now_us, now_us, rows=rows))


def test_a_store_that_cannot_be_read_for_a_fit_does_not_end_the_watch(
    tmp_path: Path, start: Callable[..., Service]
) -> None:
    with mosquitto(tmp_path / "broker") as broker:
        service = start(broker.port)
        service.until(service.is_live)
        assert service.stop() == 0
        put_ten_days(service.path, service.settings)
        with closing(sqlite3.connect(service.path)) as other:
            other.execute("ALTER TABLE rollups RENAME TO lost")
        service = start(broker.port)
        service.until(lambda: "what stood stands" in service.log)
        service.until(lambda: "connected to" in service.log)
        assert service.stop() == 0
        assert "Traceback" not in service.log


def test_what_is_usual_is_fitted_beside_the_watch_and_a_kill_meanwhile_costs_nothing(
    start: Callable[..., Service],
) -> None:
    # No broker is needed: it is fitted while that is waited for, too.
    service = start(free_port(), has_page=True)
    service.until(lambda: "cannot be reached" in service.log)
    assert service.stop() == 0
    put_ten_days(service.path, service.settings)

    service = start(free_port(), has_page=True)
    service.until(lambda: "the page stands at" in service.log)
    service.stop(signal.SIGKILL)
    with StoreReader(service.path) as reader:
        before = len(reader.baselines(0))

    service = start(free_port(), has_page=True)
    page = f"http://127.0.0.1:{load_configuration(service.settings, {}).page.port}/now.json"

    def usual() -> dict[str, Any]:
        found: dict[str, Any] = httpx.get(page).json()["tanks"][0]["series"][0]["usual"]
        return found

    service.until(lambda: "the page stands at" in service.log)
    service.until(lambda: usual()["state"] == "known", 60)
    assert usual()["low"] < 25.03 < usual()["high"]
    with StoreReader(service.path) as reader:
        versions = reader.baselines(0)
        assert {one.form for one in versions} <= {"week_profile", "learning"}
        assert len(versions) > before
        # A temperature alone tells no time constant, and what it tells is recorded.
        assert {(one.tank, one.form) for one in reader.heat_models(0)} == {("reef", "heat_model")}
    assert service.stop() == 0
    assert "Traceback" not in service.log


def publish_hot(broker: Mosquitto) -> None:
    assert broker.publish("boards/timed", f'{{"value": 29.5, "time": {time.time_ns() // 1000}}}')


def pss_mb(process: int) -> float:
    """Proportional set size, which counts shared pages once over all who share them (Linux, proc(5))."""
    for line in Path(f"/proc/{process}/smaps_rollup").read_text().splitlines():
        if line.startswith("Pss:"):
            return int(line.split()[1]) / 1024
    raise AssertionError("the kernel tells no Pss")


def test_it_stays_within_75_mb_with_its_page_and_loads_nothing_heavy(
    tmp_path: Path, start: Callable[..., Service]
) -> None:
    with mosquitto(tmp_path / "broker") as broker:
        service = start(broker.port, has_page=True)
        service.until(service.is_live)
        for number in range(20):
            assert broker.publish("boards/timeless", str(300 + number))
        service.until(lambda: count(service.path) == 20)
        loaded = Path(f"/proc/{service.process.pid}/maps").read_text()
        for heavy in ("pandas", "scipy", "statsmodels", "matplotlib"):
            assert f"/{heavy}/" not in loaded
        assert pss_mb(service.process.pid) <= 75
        assert service.stop() == 0


def test_a_button_announces_work_over_the_broker_where_that_is_allowed(
    tmp_path: Path, start: Callable[..., Service]
) -> None:
    with mosquitto(tmp_path / "broker") as broker:
        payload = '{"id": "1", "do": "begin_work", "kind": "feeding_pause", "for": "15 min"}'

        def kinds() -> list[str]:
            with StoreReader(service.path) as reader:
                return [one.kind for one in reader.known_works()]

        service = start(broker.port)
        service.until(service.is_live)
        assert broker.publish("brinebell/reef/requests", payload)
        assert broker.publish("boards/timeless", "301")
        service.until(lambda: count(service.path) == 1)
        assert service.stop() == 0
        assert kinds() == []

        text = service.settings.read_text().replace("[mqtt]\n", "[mqtt]\ntakes_requests = true\n")
        service = start(broker.port, text=text)
        service.until(service.is_live)
        assert broker.publish("brinebell/reef/requests", payload)
        service.until(lambda: kinds() == ["feeding_pause"])
        assert service.stop() == 0
        assert "MQTT asked: begin feeding pause in reef for 15 min: planned" in service.log


def test_what_became_of_a_request_is_published_to_whoever_listens(
    tmp_path: Path, start: Callable[..., Service]
) -> None:
    with mosquitto(tmp_path / "broker") as broker, Listener(broker.port) as heard:
        service = start(broker.port)
        text = service.settings.read_text().replace("[mqtt]\n", "[mqtt]\ntakes_requests = true\n")
        service.until(service.is_live)
        assert service.stop() == 0
        service = start(broker.port, text=text)
        service.until(service.is_live)
        for asked, done, words in (
            ('{"id": "1", "do": "begin_work", "kind": "feeding_pause", "for": "15 min"}', True, "planned"),
            ('{"id": "2", "do": "acknowledge", "incident": 9}', False, "there is no incident 9"),
            ('{"id": "3", "do": "switch_on"}', False, '"do" is one of begin_work'),
            ('{"id": "4", "do": "end_work", "for": "1 h"}', False, "'for' is no key of end_work"),
        ):
            assert broker.publish("brinebell/reef/requests", asked)
            number = json.loads(asked)["id"]
            service.until(lambda n=number: json.loads(heard[ANSWERS] or b"{}").get("id") == n)
            answer = json.loads(heard[ANSWERS])
            assert answer["done"] is done
            assert words in answer["text"]
        with Listener(broker.port) as later:
            service.until(lambda: later["brinebell/service/brinebell/status"] == b"online")
            time.sleep(0.5)
            assert later[ANSWERS] is None, "an answer is not retained"
        assert service.stop() == 0


def test_work_that_is_announced_keeps_a_limit_quiet_and_the_page_says_what_it_hides(
    tmp_path: Path, start: Callable[..., Service]
) -> None:
    with mosquitto(tmp_path / "broker") as broker:
        service = start(broker.port, has_page=True)
        service.until(service.is_live)
        now_us = time.time_ns() // 1000
        with RequestBox(service.path) as box:
            box.ask(
                Request("1", now_us, "keeper", BeginWork("reef", "water_change", now_us, now_us + HOUR_US))
            )
            service.until(lambda: box.answer("1") is not None)
        publish_hot(broker)
        port = load_configuration(service.settings, {}).page.port

        def page() -> str:
            return httpx.get(f"http://127.0.0.1:{port}/").text.replace("\u00a0", " ")

        service.until(lambda: "Suppressed by design: " in page())
        assert "Planned work.</strong> Water change: goes on until " in page()
        # The on-delay is one second: without the work it would have rung long since.
        end = time.monotonic() + 5
        while time.monotonic() < end:
            publish_hot(broker)
            time.sleep(0.5)
        with StoreReader(service.path) as reader:
            assert reader.alarm_events(0, 2**62) == ()
        with RequestBox(service.path) as box:
            box.ask(Request("2", time.time_ns() // 1000, "keeper", EndWork("reef")))
            service.until(lambda: box.answer("2") is not None)
        assert "Water change: over since " in page()
        assert service.stop() == 0
        assert "Traceback" not in service.log
