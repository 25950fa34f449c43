"""A service that is started on a disk that is full already, on a small filesystem of its own.

It is a tmpfs in a mount namespace that a process holds for as long as services come and go. Tank time runs
sixty times as fast, so that two minutes of refusal are two seconds.
"""

from __future__ import annotations

import itertools
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path

import httpx
import pytest

from collector.clock import Clock
from collector.errors import DiskError
from collector.settings import load_configuration
from collector.store import Reserve, Store
from collector.waiting import wait_for_room
from tests.broker import free_port, mosquitto
from tests.delivery.receivers import WebReceiver, wait_for
from tests.test_full_disk import SETTINGS

pytestmark = pytest.mark.broker

SERVE = """
import sys
from pathlib import Path
from collector.clock import Clock
from collector.journal import start_logging
from collector.serving import serve
from collector.clock import Clock
from collector.errors import DiskError
from collector.settings import load_configuration
start_logging(is_verbose=True)
serve(load_configuration(Path(sys.argv[1])), clock=Clock(rate=60))
"""
IN_A_SMALL_FILESYSTEM = 'mount -t tmpfs -o size=3m none "$0" && echo mounted && exec sleep 600'
NOTHING_WATCHED = "Nothing is watched: the disk is full or fails"


class House:
    """A broker, a phone, a small disk, and a service now and then."""

    def __init__(self, folder: Path, broker, phone: WebReceiver, pages: httpx.Client, holder: int) -> None:
        self._pages = pages
        self.folder, self.broker, self.phone, self._holder = folder, broker, phone, holder
        self.page, self.settings, self.log = free_port(), folder / "brinebell.toml", folder / "service.log"
        self.settings.write_text(SETTINGS.format(port=broker.port, page=self.page))
        # As the services see their disk.
        self.disk = Path(f"/proc/{holder}/root") / (folder / "disk").relative_to("/")
        self.store = self.disk / "data" / "brinebell.sqlite"
        self._numbers = itertools.count()
        self.published: list[float] = []

    def fill(self) -> None:
        """Take the last byte of the disk."""
        with (self.disk / "filler").open("ab", buffering=0) as file, suppress(OSError):
            while True:
                file.write(bytes(4096))
        assert shutil.disk_usage(self.disk).free == 0

    def make_room(self) -> None:
        (self.disk / "filler").unlink()

    @contextmanager
    def service(self) -> Iterator[subprocess.Popen[bytes]]:
        with self.log.open("wb") as told:
            service = subprocess.Popen(
                [
                    *("nsenter", "--user", "--preserve-credentials", "--mount", f"--target={self._holder}"),
                    *(
                        f"--wdns={self.folder}",
                        sys.executable,
                        "-c",
                        SERVE,
                        str(self.settings),
                    ),
                ],
                stdout=told,
                stderr=told,
                env={**os.environ, "BRINEBELL_PEOPLE__KEEPER__URLS": self.phone.url},
            )
        try:
            yield service
        except BaseException:
            sys.stderr.write(self.log.read_text())
            raise
        finally:
            service.kill()
            service.wait(10)

    def wait_for_log(self, words: str) -> None:
        wait_for(lambda: words in self.log.read_text(), 60)

    def publish(self, value: float) -> None:
        self.published.append(value + next(self._numbers) / 1000)
        assert self.broker.publish("boards/t", str(self.published[-1]))

    def publish_until(self, value: float, condition: Callable[[], object]) -> None:
        """Publish about once a second, as boards do: each one is a process."""
        for _ in range(60):
            self.publish(value)
            with suppress(AssertionError):
                wait_for(condition, 1)
                return
        pytest.fail("what was waited for did not come")

    def has_told(self, title: str) -> bool:
        return any(one.startswith(title) for one in self.titles)

    @property
    def titles(self) -> list[str]:
        return [title for title, _ in self.phone.rings]

    @property
    def now(self) -> dict:
        return self._pages.get(f"http://127.0.0.1:{self.page}/now.json").json()


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    (tmp_path / "disk").mkdir()
    with (
        mosquitto(tmp_path / "broker") as broker,
        WebReceiver() as phone,
        httpx.Client(trust_env=False, verify=False) as pages,
    ):
        holder = subprocess.Popen(
            [
                *("unshare", "--map-root-user", "--mount", "sh", "-c"),
                *(IN_A_SMALL_FILESYSTEM, str(tmp_path / "disk")),
            ],
            stdout=subprocess.PIPE,
        )
        try:
            assert holder.stdout is not None
            assert holder.stdout.readline() == b"mounted\n"
            yield House(tmp_path, broker, phone, pages, holder.pid)
        finally:
            holder.kill()
            holder.communicate()


def test_started_on_a_full_disk_it_rings_and_stores_everything_when_there_is_room(house: House) -> None:
    """By the room that was kept for it."""
    with Store(house.folder / "brinebell.sqlite") as store:
        store.register(load_configuration(house.settings, {}).series)
    house.store.parent.mkdir()
    shutil.copy(store.path, house.store)
    Reserve(house.store).keep()
    house.fill()
    with house.service() as service:
        house.wait_for_log("the page stands")
        assert "Room that was kept for this is given up, and the service starts" in house.log.read_text()
        house.publish_until(25.0, lambda: house.now["tanks"][0]["series"][0]["value"])
        # Before that it may not have subscribed yet.
        del house.published[:-1]
        # What was given up would last for a dozen commits.
        house.fill()
        house.publish_until(28.0, lambda: house.has_told("Too high"))
        house.publish_until(28.0, lambda: house.has_told("Nothing is stored: the disk is full or fails"))
        assert house.now["sentence"].startswith("Nothing is stored since ")
        house.make_room()
        wait_for(lambda: house.has_told("The store takes readings again"), 60)
        assert house.now["tanks"][0]["incidents"]
        service.terminate()
        assert service.wait(20) == 0
    after = shutil.copytree(house.store.parent, house.folder / "after")
    with closing(sqlite3.connect(after / "brinebell.sqlite")) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert connection.execute("SELECT count(*) FROM incidents").fetchall() == [(1,)]
        stored = [value for (value,) in connection.execute("SELECT value FROM readings")]
    assert len(stored) == len(set(stored))
    assert set(house.published) <= set(stored)


def test_without_room_for_a_store_it_says_so_waits_and_starts_by_itself(house: House) -> None:
    house.fill()
    with house.service() as service:
        house.wait_for_log("The service cannot start: nothing is watched and no alarm rings.")
        wait_for(lambda: NOTHING_WATCHED in house.titles, 60)
        assert service.poll() is None
        house.make_room()
        house.wait_for_log("the page stands")
        wait_for(lambda: "The store takes readings again" in house.titles, 60)
        assert house.titles.count(NOTHING_WATCHED) == 1
        wait_for(house.store.with_name("brinebell.sqlite.room").exists, 60)
        service.terminate()
        assert service.wait(20) == 0


def test_while_it_waits_it_can_be_stopped(tmp_path: Path) -> None:
    settings = tmp_path / "brinebell.toml"
    settings.write_text(SETTINGS.format(port=1, page=1))
    threading.Timer(0.3, os.kill, (os.getpid(), signal.SIGTERM)).start()
    assert not wait_for_room(load_configuration(settings, {}), Clock(), DiskError("it is full"), pause_s=60)
