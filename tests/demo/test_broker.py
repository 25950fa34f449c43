"""The demo's brokers, each started for real: sessions survive, wills are published, nothing is left."""

from __future__ import annotations

import os
import queue
from collections.abc import Iterator
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from collector.demo.broker import USER, DemoBroker, choose, find_mosquitto
from collector.errors import BrokerError, ConfigError


@pytest.fixture(params=[pytest.param("mosquitto", marks=pytest.mark.broker), "amqtt"])
def broker(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[DemoBroker]:
    with DemoBroker(tmp_path / "broker", kind=request.param) as running:
        yield running


class Client:
    """A client that tells what it received and whether the broker knew its session."""

    def __init__(self, broker: DemoBroker, name: str, *, clean: bool, will: str | None = None) -> None:
        self.received: queue.Queue[str] = queue.Queue()
        self._connected: queue.Queue[bool] = queue.Queue()
        self._subscribed: queue.Queue[int] = queue.Queue()
        self.client = mqtt.Client(
            CallbackAPIVersion.VERSION2, name, clean_session=clean, protocol=mqtt.MQTTv311
        )
        self.client.username_pw_set(USER)
        self.client.on_message = lambda client, data, message: self.received.put(message.payload.decode())
        self.client.on_connect = lambda client, data, flags, code, properties: self._connected.put(
            flags.session_present
        )
        self.client.on_subscribe = lambda client, data, mid, codes, properties: self._subscribed.put(mid)
        if will:
            self.client.will_set(will, "offline", qos=1)
        self.client.connect(broker.host, broker.port)
        self.client.loop_start()
        self.had_session = self._connected.get(timeout=10)

    def subscribe(self, topic: str) -> None:
        self.client.subscribe(topic, qos=1)
        self._subscribed.get(timeout=10)

    def publish(self, topic: str, payload: str) -> None:
        self.client.publish(topic, payload, qos=1).wait_for_publish(10)

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


def test_persistent_session_of_a_named_user_survives_being_away(broker: DemoBroker) -> None:
    first = Client(broker, "listener", clean=False)
    first.subscribe("tank/#")
    assert not first.had_session
    first.close()
    board = Client(broker, "board", clean=True)
    for number in range(5):
        board.publish("tank/temperature", str(number))
    board.close()
    again = Client(broker, "listener", clean=False)
    assert again.had_session
    assert [again.received.get(timeout=10) for _ in range(5)] == ["0", "1", "2", "3", "4"]
    again.close()


def test_last_will_is_published_when_a_client_is_gone_without_goodbye(broker: DemoBroker) -> None:
    listener = Client(broker, "listener", clean=True)
    listener.subscribe("tank/status")
    board = Client(broker, "board", clean=True, will="tank/status")
    connection = board.client.socket()
    board.client.loop_stop()
    connection.close()
    assert listener.received.get(timeout=10) == "offline"
    listener.close()


@pytest.mark.parametrize("kind", [pytest.param("mosquitto", marks=pytest.mark.broker), "amqtt"])
def test_broker_is_gone_after_it_was_stopped(kind: str, tmp_path: Path) -> None:
    broker = DemoBroker(tmp_path, kind=kind)
    broker.start()
    pid = broker.pid
    assert pid is not None
    broker.stop()
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)
    broker.stop()


@pytest.mark.broker
def test_mosquitto_keeps_a_session_over_its_own_restart(tmp_path: Path) -> None:
    with DemoBroker(tmp_path, kind="mosquitto") as broker:
        listener = Client(broker, "listener", clean=False)
        listener.subscribe("tank/#")
        listener.close()
        board = Client(broker, "board", clean=True)
        board.publish("tank/temperature", "25.4")
        board.close()
        broker.stop()
        broker.start()
        again = Client(broker, "listener", clean=False)
        assert again.had_session
        assert again.received.get(timeout=10) == "25.4"
        again.close()


@pytest.mark.broker
def test_a_port_that_is_taken_is_an_error_that_names_it(tmp_path: Path) -> None:
    with DemoBroker(tmp_path / "first", kind="mosquitto") as first:
        second = DemoBroker(tmp_path / "second", kind="mosquitto", port=first.port)
        with pytest.raises(BrokerError, match=f"port {first.port} is taken"):
            second.start()


@pytest.mark.broker
def test_a_broker_that_ends_at_once_is_an_error_with_its_last_words(tmp_path: Path) -> None:
    # Another machine's address: it can be configured, but nothing can listen on it here.
    broker = DemoBroker(tmp_path, kind="mosquitto", host="192.0.2.1")
    with pytest.raises(BrokerError, match=r"mosquitto did not start .*: .+"):
        broker.start()
    assert broker.pid is None


@pytest.mark.broker
def test_auto_takes_mosquitto_where_it_is_installed() -> None:
    assert find_mosquitto() is not None
    assert choose("auto") == "mosquitto"


def test_an_unknown_kind_is_refused_with_those_that_exist() -> None:
    with pytest.raises(ConfigError, match="'kestrel': it can be auto, mosquitto, amqtt"):
        choose("kestrel")
