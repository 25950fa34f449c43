"""A disk that is full: the service on a small filesystem of its own, over a real broker, until there is room.

It is a tmpfs of 3 MB in a mount namespace that the service has for itself, so that the kernel says ENOSPC.
Tank time runs sixty times as fast, so that two minutes of refusal are two seconds.
"""

from __future__ import annotations

import itertools
import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import httpx
import pytest

from tests.broker import free_port, mosquitto
from tests.delivery.receivers import WebReceiver, wait_for

pytestmark = pytest.mark.broker

SETTINGS = """
[service]
folder = "disk/data"

[mqtt]
port = {port}

[page]
listen = "127.0.0.1:{page}"

[people.keeper]
night = ["00:00", "00:00"]

[telling]
test_ring = "never"

[tanks.reef]
time_zone = "UTC"

[tanks.reef.series.temperature]
quantity = "temperature"
alarm_high = "27 degC"
on_delay = "1 s"

[[sources]]
topic = "boards/t"
format = "number"
tank = "reef"
series = "temperature"
"""
SERVE = """
import shutil, sys
from pathlib import Path
from collector.clock import Clock
from collector.journal import start_logging
from collector.serving import serve
from collector.settings import load_configuration
start_logging(is_verbose=False)
serve(load_configuration(Path(sys.argv[1])), clock=Clock(rate=60))
# Nobody else sees that filesystem, and it is gone with this process.
shutil.copytree("disk/data", "after")
"""
IN_A_SMALL_FILESYSTEM = 'mount -t tmpfs -o size=3m none "$0" && exec "$@"'


def test_a_full_disk_silences_nothing_is_told_and_costs_no_reading(tmp_path: Path) -> None:
    disk, settings, log = tmp_path / "disk", tmp_path / "brinebell.toml", tmp_path / "service.log"
    disk.mkdir()
    page = free_port()
    with (
        mosquitto(tmp_path / "broker") as broker,
        WebReceiver() as phone,
        httpx.Client(trust_env=False, verify=False) as pages,
        log.open("wb") as told,
    ):
        settings.write_text(SETTINGS.format(port=broker.port, page=page))
        service = subprocess.Popen(
            [
                *("unshare", "--map-root-user", "--mount", "sh", "-c", IN_A_SMALL_FILESYSTEM, str(disk)),
                *(sys.executable, "-c", SERVE, str(settings)),
            ],
            stdout=told,
            stderr=told,
            cwd=tmp_path,
            env={**os.environ, "BRINEBELL_PEOPLE__KEEPER__URLS": phone.url},
        )
        try:
            # As the service sees its disk.
            inside = Path(f"/proc/{service.pid}/root") / disk.relative_to("/")
            wait_for(lambda: service.poll() is None and "the page stands" in log.read_text(), 60)
            published: list[float] = []
            numbers = itertools.count()

            def publish(value: float) -> None:
                published.append(value + next(numbers) / 1000)
                assert broker.publish("boards/t", str(published[-1]))

            def titles() -> list[str]:
                return [title for title, _ in phone.rings]

            def now() -> dict:
                return pages.get(f"http://127.0.0.1:{page}/now.json").json()

            wait_for(lambda: (publish(25.0), now()["tanks"][0]["series"][0]["value"])[-1], 30)
            # Before that it may not have subscribed yet.
            del published[:-1]
            assert now()["nothing_stored_since"] is None
            filler = inside / "filler"
            with pytest.raises(OSError, match="No space left"):
                filler.write_bytes(bytes(4_000_000))
            # What the log had room for in itself is written still.
            wait_for(lambda: (publish(25.0), "disk is full" in log.read_text())[-1], 60)
            wait_for(lambda: (publish(28.0), any(title.startswith("Too high") for title in titles()))[-1], 60)
            wait_for(lambda: "Nothing is stored: the disk is full or fails" in titles(), 60)
            assert now()["nothing_stored_since"] is not None
            assert now()["sentence"].startswith("Nothing is stored since ")
            filler.unlink()
            wait_for(lambda: "The store takes readings again" in titles(), 60)
            assert now()["nothing_stored_since"] is None
            service.terminate()
            assert service.wait(20) == 0
            with closing(sqlite3.connect(tmp_path / "after" / "brinebell.sqlite")) as connection:
                assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
                assert connection.execute("SELECT count(*) FROM incidents").fetchall() == [(1,)]
                stored = [value for (value,) in connection.execute("SELECT value FROM readings")]
            assert len(stored) == len(set(stored))
            assert set(published) <= set(stored)
            assert titles().count("Nothing is stored: the disk is full or fails") == 1
        except BaseException:
            sys.stderr.write(log.read_text())
            raise
        finally:
            service.kill()
            service.wait(10)
