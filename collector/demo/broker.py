"""An MQTT broker that the demo starts and stops itself: mosquitto where it is installed, else one in Python.

It listens on the loopback address, at a free port, and keeps what it must remember in a folder of its own.
"""

from __future__ import annotations

import importlib.util
import os
import shutil
import socket
import subprocess
import sys
import time
from pathlib import Path
from types import TracebackType
from typing import Self

from collector.errors import BrokerError, ConfigError

# The broker in Python keeps sessions only for a named user; mosquitto takes any name here.
USER = "demo"
KINDS = ("auto", "mosquitto", "amqtt")
_HOST = "127.0.0.1"
# A Raspberry Pi takes some seconds to import the broker in Python from a cold SD card.
_START_TIMEOUT_S = 30.0
_STOP_TIMEOUT_S = 10.0


def find_mosquitto() -> str | None:
    """Path of mosquitto; Debian keeps it in a folder that is not on every user's PATH."""
    path = os.pathsep.join([os.environ.get("PATH", os.defpath), "/usr/sbin", "/usr/local/sbin"])
    return shutil.which("mosquitto", path=path)


def choose(kind: str) -> str:
    """Return "mosquitto" or "amqtt" for a kind of `KINDS`.

    Raises
    ------
    ConfigError
        If that broker, or with "auto" neither, is installed.
    """
    if kind not in KINDS:
        raise ConfigError(f"broker is {kind!r}: it can be {', '.join(KINDS)}")
    if kind != "amqtt" and find_mosquitto():
        return "mosquitto"
    if kind != "mosquitto" and importlib.util.find_spec("amqtt"):
        return "amqtt"
    wanted = "no MQTT broker" if kind == "auto" else f"no {kind}"
    raise ConfigError(
        f"the demo found {wanted} on this machine: install one with "
        "`sudo apt install mosquitto` or `python -m pip install 'brinebell[demo]'`"
    )


class DemoBroker:
    """A broker in a child process, from `with` to the end of it.

    Parameters
    ----------
    folder
        A folder of its own for configuration, log and kept sessions; made if missing.
    kind
        One of `KINDS`.
    host, port
        Where it listens; port 0 takes a free one.
    """

    def __init__(self, folder: Path, *, kind: str = "auto", host: str = _HOST, port: int = 0) -> None:
        self.kind = choose(kind)
        self.host = host
        self.port = port or free_port()
        self.log_path = folder / "broker.log"
        self._folder = folder
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def pid(self) -> int | None:
        """Process id while it runs."""
        return self._process.pid if self._process else None

    def start(self) -> None:
        """Start it and wait until it takes connections.

        Raises
        ------
        BrokerError
            If the port is taken, or if it ends or does not listen in time; the message ends with the last
            line of its log.
        """
        if _listens(self.host, self.port):
            raise BrokerError(f"port {self.port} is taken by another program: choose another, or 0 for any")
        self._folder.mkdir(parents=True, exist_ok=True)
        command = self._mosquitto() if self.kind == "mosquitto" else self._python()
        with self.log_path.open("ab") as log:
            self._process = subprocess.Popen(
                command,
                stdin=subprocess.PIPE,
                stdout=log,
                stderr=log,
                # Ctrl-C in the terminal is for the demo, which stops its broker last.
                start_new_session=True,
            )
        deadline = time.monotonic() + _START_TIMEOUT_S
        while not _listens(self.host, self.port):
            if self._process.poll() is not None or time.monotonic() > deadline:
                self.stop()
                raise BrokerError(f"{self.kind} did not start on port {self.port}: {self._last_words()}")
            time.sleep(0.05)

    def stop(self) -> None:
        """Stop it and wait for its end; stopping twice does nothing."""
        process, self._process = self._process, None
        if process is None:
            return
        if process.stdin:
            process.stdin.close()
        if self.kind == "mosquitto":
            process.terminate()
        try:
            process.wait(_STOP_TIMEOUT_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()

    def _mosquitto(self) -> list[str]:
        path = self._folder / "mosquitto.conf"
        lines = [
            f"listener {self.port} {self.host}",
            "allow_anonymous true",
            "persistence true",
            f"persistence_location {self._folder.resolve()}/",
            "autosave_interval 30",
            # A stock broker forgets all but 1,000 messages of a client that is away.
            "max_queued_messages 0",
            "max_queued_bytes 20000000",
            "log_dest stderr",
            "log_type error",
            "log_type warning",
        ]
        if os.geteuid() == 0:
            # Started by root it would become a user who may not write into this folder.
            lines.append("user root")
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        program = find_mosquitto()
        if program is None:
            raise BrokerError("mosquitto was there a moment ago and is gone: install it again")
        return [program, "-c", str(path)]

    def _python(self) -> list[str]:
        return [sys.executable, "-m", "collector.demo.python_broker", self.host, str(self.port)]

    def _last_words(self) -> str:
        lines = self.log_path.read_text(encoding="utf-8", errors="replace").strip().splitlines()
        return lines[-1] if lines else f"it said nothing (see {self.log_path})"


def free_port() -> int:
    """A port of the loopback address at which nothing listens at this moment."""
    with socket.socket() as probe:
        probe.bind((_HOST, 0))
        return int(probe.getsockname()[1])


def _listens(host: str, port: int) -> bool:
    with socket.socket() as probe:
        probe.settimeout(1.0)
        return probe.connect_ex((host, port)) == 0
