"""Plays a recording into a broker, each reading when its time has come."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Iterator, Sequence
from types import TracebackType
from typing import Self

import numpy as np
import paho.mqtt.client as mqtt

from collector.clock import Clock
from collector.configuration import Configuration, MqttConfiguration
from collector.mqtt.connection import Topics
from collector.mqtt.plain import connect_plainly, plain_client
from collector.recordings import Recording
from collector.rehearsal.settings import topic_of
from rules import MICROSECONDS

_PUBLISH_TIMEOUT_S = 30.0
# Readings within so much are published together, as a board publishes what it has read in one go.
_TOGETHER_US = MICROSECONDS


class Player:
    """Publishes a recording on a thread of its own, from `with` to the end of it.

    It begins when the service says that it listens; what was due before is made up for.

    Parameters
    ----------
    recording
        Sorted by time; its series are those of the configuration.
    clock
        Tank time.
    progress
        Called with how many readings have just been published.
    on_end
        Called when all has been taken by the broker, or it takes no more.
    """

    def __init__(
        self,
        recording: Recording,
        configuration: Configuration,
        clock: Clock,
        progress: Callable[[int], object] = lambda _: None,
        on_end: Callable[[], None] = lambda: None,
    ) -> None:
        self._recording = recording
        self._series = configuration.series
        self._clock = clock
        self._begins = threading.Event()
        self._progress = progress
        self._on_end = on_end
        self._stop = threading.Event()
        self._client = _connected(configuration.mqtt, self._begins)
        self._thread = threading.Thread(target=self._run, name="rehearsal", daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stop.set()
        self._begins.set()
        self._thread.join()
        self._client.disconnect()
        self._client.loop_stop()

    def _run(self) -> None:
        self._begins.wait()
        if self._stop.is_set():
            return
        for due_us, places in _rounds(self._recording):
            if self._stop.wait(max(0.0, self._clock.wall_seconds(due_us - self._clock.now_us()))):
                return
            if not self._publish(places):
                break
            self._progress(len(places))
        self._on_end()

    def _publish(self, places: Sequence[int]) -> bool:
        """Publish readings, a message a tank; whether the broker has taken them."""
        packs: dict[str, list[dict[str, object]]] = {}
        for place in places:
            series = self._series[int(self._recording.series[place])]
            value = float(self._recording.values[place])
            if value - value == 0.0:
                at_s = int(self._recording.times_us[place]) / MICROSECONDS
                packs.setdefault(series.tank, []).append({"n": series.name, "t": at_s, "v": value})
        for tank, pack in packs.items():
            try:
                sent = self._client.publish(topic_of(tank), json.dumps(pack), qos=1)
                sent.wait_for_publish(_PUBLISH_TIMEOUT_S)
            except (RuntimeError, ValueError):
                return False
            if not sent.is_published():
                return False
        return True


def _rounds(recording: Recording) -> Iterator[tuple[int, Sequence[int]]]:
    """When something is due, and which readings."""
    times_us = recording.times_us
    if not len(times_us):
        return
    edges = np.flatnonzero(np.diff(times_us // _TOGETHER_US)) + 1
    starts = [0, *edges.tolist()]
    for start, end in zip(starts, [*starts[1:], len(times_us)], strict=True):
        yield int(times_us[end - 1]), range(start, end)


def _connected(configuration: MqttConfiguration, begins: threading.Event) -> mqtt.Client:
    """A client of the broker; `begins` is set when the service has said that it is online."""
    status = Topics.of(configuration.client_id).status
    client = plain_client(f"{configuration.client_id}-player")
    if configuration.username is not None:
        client.username_pw_set(configuration.username, configuration.password)
    if configuration.tls:
        client.tls_set(None if configuration.ca_file is None else str(configuration.ca_file))

    def on_message(client: mqtt.Client, _data: object, message: mqtt.MQTTMessage) -> None:  # noqa: ARG001
        if message.payload == b"online":
            begins.set()

    client.on_message = on_message
    connect_plainly(
        client,
        configuration.host,
        configuration.port,
        "the rehearsal",
        lambda client: client.subscribe(status, qos=1),
    )
    return client
