"""Real time-series databases for tests, on free ports of the loopback address."""

from __future__ import annotations

import contextlib
import json
import signal
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.error import URLError
from urllib.parse import urlencode
from urllib.request import urlopen

from collector.configuration import DatabaseConfiguration
from tests.broker import free_port

_INFLUXD = """
reporting-disabled = true
bind-address = "127.0.0.1:{rpc}"
[meta]
dir = "{folder}/meta"
[data]
dir = "{folder}/data"
wal-dir = "{folder}/wal"
[http]
bind-address = "127.0.0.1:{port}"
log-enabled = false
{more}
"""


class _Server:
    """A program that listens; started again, it has what it had."""

    def __init__(self, folder: Path, command: list[str], port: int, ready: str) -> None:
        self.port, self._folder, self._command, self._ready = port, folder, command, ready
        self.address = f"http://127.0.0.1:{port}"
        self._process: subprocess.Popen[bytes] | None = None

    def launch(self) -> None:
        with (self._folder / "server.log").open("ab") as log:
            self._process = subprocess.Popen(self._command, stdout=log, stderr=log)

    def start(self, seconds: float = 20.0) -> None:
        self.launch()
        end = time.monotonic() + seconds
        while True:
            try:
                with urlopen(self.address + self._ready, timeout=1):
                    return
            except (URLError, OSError):
                assert time.monotonic() < end, (self._folder / "server.log").read_text()
                time.sleep(0.02)

    def send(self, number: int) -> None:
        """Send a signal that it lives on with."""
        assert self._process is not None
        self._process.send_signal(number)

    def stop(self, number: int = signal.SIGTERM) -> None:
        if self._process is not None:
            self._process.send_signal(number)
            self._process.wait(20)
            self._process = None


class Influx(_Server):
    """InfluxDB 1 as Debian has it; its Go programs answer for themselves, past our own clients."""

    def __init__(self, folder: Path, *more: str) -> None:
        """`more` are lines of its configuration, in the section of HTTP."""
        folder.mkdir(parents=True, exist_ok=True)
        port = free_port()
        text = _INFLUXD.format(folder=folder, port=port, rpc=free_port(), more="\n".join(more))
        (folder / "influxdb.conf").write_text(text)
        super().__init__(folder, ["influxd", "-config", str(folder / "influxdb.conf")], port, "/ping")

    def ask(self, text: str, database: str = "") -> list[dict[str, Any]]:
        """The series of an answer to InfluxQL; changes must be posted."""
        data = urlencode({"db": database, "epoch": "ns", "q": text}).encode()
        with urlopen(f"{self.address}/query", data, timeout=20) as answer:
            (result,) = json.load(answer)["results"]
        assert "error" not in result, result
        return result.get("series", [])

    def rows(self, database: str, policy: str = "autogen") -> dict[tuple[str, str, int], tuple[Any, Any]]:
        """Every point: (tank, series, microseconds) -> (value, flag)."""
        found = self.ask(
            f'SELECT value, flag FROM "{policy}".reading GROUP BY tank, "series", quantity', database
        )
        return {
            (one["tags"]["tank"], one["tags"]["series"], at_ns // 1000): (value, flag)
            for one in found
            for at_ns, value, flag in one["values"]
        }

    def make(self, name: str) -> DatabaseConfiguration:
        """A fresh database of that name, configured."""
        self.ask(f'CREATE DATABASE "{name}"')
        return DatabaseConfiguration(self.address, api="v1", bucket=name, interval_s=0.02)


class Victoria(_Server):
    """victoria-metrics, which takes writes of version 2."""

    def __init__(self, folder: Path, *more: str) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        port = free_port()
        command = [
            "victoria-metrics",
            f"-storageDataPath={folder / 'data'}",
            f"-httpListenAddr=127.0.0.1:{port}",
            "-retentionPeriod=10y",
            *more,
        ]
        super().__init__(folder, command, port, "/health")

    def samples(self) -> set[tuple[str, str, int, float]]:
        """(tank, series, milliseconds, value) of every sample, the flags as series `<series>/flag`."""
        with urlopen(f"{self.address}/internal/force_flush", timeout=20):
            pass
        query = urlencode({"match[]": '{__name__=~"reading_.*"}'})
        found = set()
        with urlopen(f"{self.address}/api/v1/export?{query}", timeout=20) as answer:
            for line in answer:
                one = json.loads(line)
                name = one["metric"]["series"]
                if one["metric"]["__name__"] == "reading_flag":
                    name += "/flag"
                for value, at_ms in zip(one["values"], one["timestamps"], strict=True):
                    found.add((one["metric"]["tank"], name, at_ms, value))
        return found


@contextlib.contextmanager
def influx(folder: Path) -> Iterator[Influx]:
    server = Influx(folder)
    server.start()
    try:
        yield server
    finally:
        server.stop()


@contextlib.contextmanager
def victoria(folder: Path) -> Iterator[Victoria]:
    server = Victoria(folder)
    server.start()
    try:
        yield server
    finally:
        server.stop()
