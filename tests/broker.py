"""Real brokers for tests: mosquitto with the shipped configuration, and amqtt, on free ports."""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Self

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

SHIPPED = Path(__file__).resolve().parents[1] / "deploy" / "mosquitto" / "brinebell.conf"


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_for_port(port: int, seconds: float = 20.0) -> None:
    end = time.monotonic() + seconds
    while True:
        try:
            socket.create_connection(("127.0.0.1", port), 0.5).close()
        except OSError:
            if time.monotonic() > end:
                raise
            time.sleep(0.02)
        else:
            return


def mosquitto_path() -> str:
    found = shutil.which("mosquitto", path=os.environ.get("PATH", "") + ":/usr/sbin:/usr/local/sbin")
    if found is None or shutil.which("mosquitto_pub") is None:
        pytest.skip("skipped: mosquitto and mosquitto-clients are not installed")
    return found


class Mosquitto:
    """A private mosquitto: the shipped configuration, with a folder and a listener of its own."""

    def __init__(self, folder: Path, *lines: str, shipped: bool = True) -> None:
        self.folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        self.port = free_port()
        self._process: subprocess.Popen[bytes] | None = None
        self._path = mosquitto_path()
        text = SHIPPED.read_text() if shipped else ""
        # Started by root, mosquitto would become a user who cannot write here.
        own = (f"listener {self.port} 127.0.0.1", f"persistence_location {folder}/", "user root")
        access = (
            () if any(line.startswith("allow_anonymous") for line in lines) else ("allow_anonymous true",)
        )
        (folder / "broker.conf").write_text("\n".join([text, *own, *access, *lines, "log_type error", ""]))

    def start(self) -> None:
        with (self.folder / "broker.log").open("ab") as log:
            self._process = subprocess.Popen(
                [self._path, "-c", str(self.folder / "broker.conf")], stdout=subprocess.DEVNULL, stderr=log
            )
        wait_for_port(self.port)

    def stop(self, number: int = signal.SIGTERM) -> None:
        if self._process is not None:
            self._process.send_signal(number)
            self._process.wait(20)
            self._process = None

    def publish(self, topic: str, payload: str, *options: str) -> bool:
        """One publication of quality of service 1; whether the broker acknowledged it."""
        command = ["mosquitto_pub", "-h", "127.0.0.1", "-p", str(self.port), "-q", "1", "-t", topic]
        done = subprocess.run(
            [*command, "-m", payload, *options], capture_output=True, timeout=30, check=False
        )
        return done.returncode == 0


class Listener:
    """Hears what is published under a filter, over a client of its own; the last payload of each topic."""

    def __init__(
        self, port: int, topic_filter: str = "brinebell/#", user: str = "", password: str = ""
    ) -> None:
        self.heard: list[tuple[str, bytes]] = []
        self._client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
        if user:
            self._client.username_pw_set(user, password)
        self._client.on_connect = lambda client, *_: client.subscribe(topic_filter, 1)
        self._client.on_message = lambda _, __, message: self.heard.append(
            (message.topic, bytes(message.payload))
        )
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc_info: object) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def __getitem__(self, topic: str) -> bytes | None:
        return next((payload for heard, payload in reversed(self.heard) if heard == topic), None)

    @property
    def topics(self) -> set[str]:
        return {topic for topic, _ in self.heard}


@contextlib.contextmanager
def mosquitto(folder: Path, *lines: str, shipped: bool = True) -> Iterator[Mosquitto]:
    broker = Mosquitto(folder, *lines, shipped=shipped)
    broker.start()
    try:
        yield broker
    finally:
        broker.stop()


_AMQTT = """
import asyncio, logging
logging.disable(logging.CRITICAL)
from amqtt.broker import Broker
plugin = "amqtt.plugins.authentication.AnonymousAuthPlugin"
settings = {
    "listeners": {"default": {"type": "tcp", "bind": "127.0.0.1:%d"}},
    "plugins": {plugin: {"allow_anonymous": False}},
}
async def main():
    broker = Broker(settings)
    await broker.start()
    await asyncio.Event().wait()
asyncio.run(main())
"""


@contextlib.contextmanager
def amqtt() -> Iterator[int]:
    """An amqtt broker that keeps sessions, for any user name; yields its port."""
    port = free_port()
    process = subprocess.Popen(
        [sys.executable, "-c", _AMQTT % port], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        wait_for_port(port)
        yield port
    finally:
        process.terminate()
        process.wait(20)
