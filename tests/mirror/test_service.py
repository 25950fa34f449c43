"""The whole way: a real broker, the service as a process, a real database that goes away and comes back."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any
from urllib.request import urlopen

import pytest

from collector.database import open_database
from collector.settings import load_configuration
from tests.broker import Mosquitto, free_port, mosquitto
from tests.database.servers import Influx, influx
from tests.delivery.receivers import wait_for
from tests.mirror.parts import state, stored
from tests.test_crash import SETTINGS, count, last_live_commit

BEFORE_US = 1_764_547_200_000_000
AROUND = "from=2025-11-30T12:00:00Z&to=2025-12-01T12:00:00Z"
pytestmark = [pytest.mark.broker, pytest.mark.influxdb]


def test_what_a_board_publishes_is_at_the_database_after_an_outage_of_it(tmp_path: Path) -> None:
    with mosquitto(tmp_path / "broker") as broker, influx(tmp_path / "influx") as server:
        settings = tmp_path / "brinebell.toml"
        table = f'[database]\naddress = "{server.address}"\napi = "v1"\ninterval = "1 s"\n'
        text = SETTINGS.format(port=broker.port, interval="50 ms") + table
        page = f"127.0.0.1:{free_port()}"
        settings.write_text(text.replace("enabled = false", f'listen = "{page}"'))
        # What a store had that is no more.
        target = open_database(server.make("brinebell"))
        tags = "reading,quantity=temperature,series=temperature,tank=reef"
        target.write([f"{tags} value=24.9,flag=1i {BEFORE_US * 1000}".encode()])
        target.close()
        path = load_configuration(settings, {}).store.path
        with (tmp_path / "service.log").open("wb") as log:
            service = subprocess.Popen(
                [sys.executable, "-m", "collector", "run", "--config", str(settings)],
                stdout=log,
                stderr=log,
                env={**os.environ, "PYTHONUNBUFFERED": "1"},
            )
        try:
            wait_for(lambda: path.exists() and last_live_commit(path) > 0)
            publish(broker, 25.0)
            wait_for(lambda: mirrored(server) == stored(path) != {})
            with urlopen(f"http://{page}/series/reef/temperature?{AROUND}", timeout=20) as answer:
                assert "mean 24.9 °C" in answer.read().decode()
            server.stop(signal.SIGKILL)
            publish(broker, 25.5)
            wait_for(lambda: state(path).failing_since_us is not None)
            publish(broker, 26.0)
            wait_for(lambda: count(path) == 3)
            server.start()
            wait_for(lambda: state(path).oldest_us is None)
            assert mirrored(server) == stored(path)
            assert len(stored(path)) == 3
            service.terminate()
            assert service.wait(15) == 0
        finally:
            service.kill()
            service.wait(10)
        told = (tmp_path / "service.log").read_text()
        assert "the database does not take readings, which wait in the store" in told
        assert "the database takes readings again" in told
        assert "Traceback" not in told


def mirrored(server: Influx) -> dict[tuple[str, str, int], tuple[Any, Any]]:
    """What the database has of this service."""
    return {key: value for key, value in server.rows("brinebell").items() if key[2] > BEFORE_US}


def publish(broker: Mosquitto, value: float) -> None:
    assert broker.publish("boards/timed", f'{{"value": {value}, "time": {time.time_ns() // 1000}}}')
