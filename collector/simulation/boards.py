"""Boards as they hang on real tanks: each speaks a payload format of its own and has a last will.

They publish over real MQTT what a simulated tank's probes show, at tank time. A board that knows the
time sends it along; one that does not, sends bare numbers.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from types import TracebackType
from typing import Protocol, Self

import paho.mqtt.client as mqtt

from collector.clock import Clock
from collector.mqtt.plain import connect_plainly, plain_client
from collector.simulation.tank import SimulatedTank
from rules import MICROSECONDS

# Beyond this a tick is given up as not taken; the next one follows.
_PUBLISH_TIMEOUT_S = 5.0


class Message(Protocol):
    """What a board publishes at one instant: topic and payload, by the values its probes show."""

    def __call__(self, tank: str, time_us: int, shown: Mapping[str, float]) -> list[tuple[str, str]]:
        """Return topics and payloads; values of probes that show nothing are left out."""
        ...


@dataclass(frozen=True, slots=True)
class Board:
    """A board: its name, and what it publishes."""

    name: str
    messages: Message

    def will_topic(self, tank: str) -> str:
        """Where it says "online", and the broker "offline" when it is gone."""
        return f"brinebell/{tank}/{self.name}/status"


def _sump(tank: str, time_us: int, shown: Mapping[str, float]) -> list[tuple[str, str]]:
    """SenML JSON (RFC 8428) with an absolute base time: temperature, reservoir, and level in metres."""
    records: list[dict[str, object]] = []
    if "temperature" in shown:
        records.append({"n": "temperature", "u": "Cel", "v": shown["temperature"]})
    if "reservoir" in shown:
        records.append({"n": "reservoir", "u": "l", "v": shown["reservoir"]})
    if "sump_level" in shown:
        records.append({"n": "level", "u": "m", "v": round(shown["sump_level"] / 100.0, 4)})
    if not records:
        return []
    records[0] = {"bn": "sump/", "bt": time_us // MICROSECONDS} | records[0]
    return [(f"brinebell/{tank}/sump/senml", json.dumps(records))]


def _chemistry(tank: str, time_us: int, shown: Mapping[str, float]) -> list[tuple[str, str]]:
    """One JSON object with its time as text: pH and salinity."""
    names = {"ph": "ph", "practical_salinity": "salinity"}
    probes = {said: shown[name] for name, said in names.items() if name in shown}
    if not probes:
        return []
    at = datetime.fromtimestamp(time_us // MICROSECONDS, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    return [(f"brinebell/{tank}/chemistry/readings", json.dumps({"at": at, "probes": probes}))]


def _room(tank: str, time_us: int, shown: Mapping[str, float]) -> list[tuple[str, str]]:  # noqa: ARG001
    """A bare number without a time: the room."""
    return [
        (f"brinebell/{tank}/room/temperature", f"{shown[name]:.1f}")
        for name in ("room_temperature",)
        if name in shown
    ]


def _power(tank: str, time_us: int, shown: Mapping[str, float]) -> list[tuple[str, str]]:  # noqa: ARG001
    """A bare number and a word: the heater's power, and whether the top-off pump runs."""
    messages = []
    if "heater_power" in shown:
        messages.append((f"brinebell/{tank}/heater/power", f"{shown['heater_power']:.0f}"))
    if "top_off" in shown:
        messages.append((f"brinebell/{tank}/top_off/state", "ON" if shown["top_off"] else "OFF"))
    return messages


BOARDS = (
    Board("sump", _sump),
    Board("chemistry", _chemistry),
    Board("room", _room),
    Board("power", _power),
)


class Boards:
    """All boards of a simulated tank, publishing on one thread from `with` to the end of it.

    Parameters
    ----------
    tank
        The tank they hang on, already at the clock's time.
    tank_name
        Its name in topics.
    clock
        Tank time; readings are due at its multiples of `every_us`.
    host, port, username
        The broker. MQTT 3.1.1 is spoken, as most boards do and every broker understands.
    on_shown
        Told the time and what the probes showed, after each round.
    """

    def __init__(
        self,
        tank: SimulatedTank,
        tank_name: str,
        *,
        clock: Clock,
        every_us: int,
        host: str,
        port: int,
        username: str | None = None,
        boards: Sequence[Board] = BOARDS,
        on_shown: Callable[[int, Mapping[str, float]], None] | None = None,
    ) -> None:
        self._tank = tank
        self._tank_name = tank_name
        self._clock = clock
        self._every_us = every_us
        self._address = (host, port)
        self._username = username
        self._boards = boards
        self._on_shown = on_shown
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="boards")
        self._clients: dict[str, mqtt.Client] = {}

    def publish(self, time_us: int) -> None:
        """Let the tank run up to an instant and publish what its probes show then."""
        self._tank.advance_to(time_us)
        shown = self._tank.read()
        pending = [
            self._clients[board.name].publish(topic, payload, qos=1)
            for board in self._boards
            if board.name in self._clients
            for topic, payload in board.messages(self._tank_name, time_us, shown)
        ]
        for information in pending:
            if information.rc == mqtt.MQTT_ERR_SUCCESS:
                information.wait_for_publish(_PUBLISH_TIMEOUT_S)
        if self._on_shown:
            self._on_shown(time_us, shown)

    def lose(self, board: str) -> None:
        """Cut a board's connection without a word, as a pulled plug does: the broker publishes its will."""
        client = self._clients.pop(board)
        connection = client.socket()
        client.loop_stop()
        if connection is not None:
            connection.close()

    def connect(self) -> None:
        """Connect every board; raises BrokerError if the broker takes one of them not."""
        for board in self._boards:
            self._clients[board.name] = self._connect(board)

    def disconnect(self) -> None:
        """Say goodbye for every board."""
        for client in self._clients.values():
            client.disconnect()
            client.loop_stop()
        self._clients.clear()

    def __enter__(self) -> Self:
        self.connect()
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stop.set()
        self._thread.join()
        self.disconnect()

    def _run(self) -> None:
        due_us = (self._tank.now_us // self._every_us + 1) * self._every_us
        while not self._stop.wait(max(0.0, self._clock.wall_seconds(due_us - self._clock.now_us()))):
            # A round that comes late is made up for: boards stamp what they saw with when they saw it.
            self.publish(due_us)
            due_us += self._every_us

    def _connect(self, board: Board) -> mqtt.Client:
        client = plain_client(f"{self._tank_name}-{board.name}")
        if self._username:
            client.username_pw_set(self._username)
        topic = board.will_topic(self._tank_name)
        client.will_set(topic, "offline", qos=1, retain=True)
        connect_plainly(
            client,
            *self._address,
            f"board {board.name}",
            lambda client: client.publish(topic, "online", qos=1, retain=True),
        )
        return client
