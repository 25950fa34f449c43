"""The signs of the real service: to systemd's socket, to the broker and to an address elsewhere."""

from __future__ import annotations

import json
import signal
import sqlite3
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from itertools import count as count_up
from pathlib import Path

import pytest

from tests.broker import Listener, mosquitto
from tests.liveness.test_systemd import Manager
from tests.liveness.test_web import Receiver
from tests.test_crash import SETTINGS, count
from tests.test_service import Service

pytestmark = pytest.mark.broker

SIGN, STATUS = "brinebell/service/brinebell/sign_of_life", "brinebell/service/brinebell/status"


@contextmanager
def flood(port: int) -> Iterator[None]:
    """Messages all the time."""
    ended = threading.Event()
    command = ["mosquitto_pub", "-p", str(port), "-q", "1", "-t", "boards/timeless", "-l"]
    with subprocess.Popen(command, stdin=subprocess.PIPE) as publisher:

        def pour() -> None:
            assert publisher.stdin is not None
            with publisher.stdin as tap:
                for number in count_up():
                    # Not so many that the rest of the test waits for them.
                    if number % 50 == 0 and ended.wait(0.02):
                        return
                    tap.write(b"%.4f\n" % (100 + number / 1000))
                    tap.flush()

        thread = threading.Thread(target=pour)
        thread.start()
        try:
            yield
        finally:
            ended.set()
            thread.join()


def test_it_is_ready_gives_signs_and_its_will_tells_of_its_death(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    manager, receiver = Manager(str(tmp_path / "notify")), Receiver()
    monkeypatch.setenv("NOTIFY_SOCKET", manager.name)
    monkeypatch.setenv("WATCHDOG_USEC", "600000")
    monkeypatch.setenv(
        "BRINEBELL_SERVICE__SIGN_OF_LIFE_URL", f"http://127.0.0.1:{receiver.port}/reef?key=secret"
    )
    with mosquitto(tmp_path / "broker") as broker, Listener(broker.port) as heard:
        text = SETTINGS.format(port=broker.port, interval="50 ms")
        service = Service(tmp_path, broker.port, has_page=False, urls="", text=text)
        told: list[bytes] = []

        def is_told(word: bytes, count: int = 1) -> bool:
            told.extend(manager.heard())
            return told.count(word) >= count

        def is_quiet() -> bool:
            """Whether ten of its signs in a row were left out."""
            manager.heard()
            told.clear()
            time.sleep(2)
            return not is_told(b"WATCHDOG=1")

        try:
            service.until(lambda: is_told(b"WATCHDOG=1", 3))
            assert told[0] == b"READY=1"
            service.until(lambda: receiver.asked == ["/reef?key=secret"])
            service.until(lambda: heard[SIGN] is not None)
            assert json.loads(heard[SIGN] or b"")["every_s"] == 60
            assert heard[STATUS] == b"online"
            # A loop that is busy all the time says that it lives.
            with flood(broker.port):
                service.until(lambda: count(service.path) > 0)
                known = count(service.path)
                told.clear()
                service.until(lambda: is_told(b"WATCHDOG=1", 3))
                assert count(service.path) > known
            # The loop hangs at a commit while somebody holds the database, and does not say that it lives.
            with closing(sqlite3.connect(service.path, isolation_level=None)) as holder:
                holder.execute("BEGIN IMMEDIATE")
                assert broker.publish("boards/timeless", "301")
                service.until(is_quiet, 60)
                holder.execute("ROLLBACK")
            service.until(lambda: is_told(b"WATCHDOG=1"))
            service.stop(signal.SIGKILL)
            end = time.monotonic() + 20
            while heard[STATUS] != b"offline":
                assert time.monotonic() < end
                time.sleep(0.05)
            assert not is_told(b"STOPPING=1")
            service = Service(tmp_path, broker.port, has_page=False, urls="", text=text)
            service.until(service.is_live)
            assert service.stop() == 0
            assert is_told(b"STOPPING=1")
            assert "secret" not in service.log
        finally:
            if service.process.poll() is None:
                service.process.kill()
                service.process.wait(10)
            manager.close()
            receiver.close()
