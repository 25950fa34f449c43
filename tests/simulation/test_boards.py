"""The simulated boards over a real broker: what arrives there is what the probes showed."""

from __future__ import annotations

import json
import queue
from collections.abc import Iterator
from importlib.resources import as_file, files
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from collector.clock import Clock
from collector.demo.broker import DemoBroker
from collector.errors import BrokerError
from collector.routing import Router
from collector.settings import load_configuration
from collector.simulation import ProbeSilent, SimulatedTank, TankSettings
from collector.simulation.boards import BOARDS, Boards
from collector.units import converter
from rules import HOUR_US, MICROSECONDS

pytestmark = pytest.mark.broker

# Midnight of 2 March 2026 UTC.
START_US = 1_772_409_600 * MICROSECONDS
MINUTE_US = HOUR_US // 60


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[DemoBroker]:
    with DemoBroker(tmp_path, kind="mosquitto") as running:
        yield running


class Listener:
    """Everything under `brinebell/`, in order of arrival."""

    def __init__(self, broker: DemoBroker) -> None:
        self.messages: queue.Queue[tuple[str, str]] = queue.Queue()
        ready: queue.Queue[int] = queue.Queue()
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2)
        self.client.on_message = lambda client, data, message: self.messages.put(
            (message.topic, message.payload.decode())
        )
        self.client.on_subscribe = lambda client, data, mid, codes, properties: ready.put(mid)
        self.client.connect(broker.host, broker.port)
        self.client.loop_start()
        self.client.subscribe("brinebell/#", qos=1)
        ready.get(timeout=10)

    def take(self, count: int) -> dict[str, str]:
        return dict(self.messages.get(timeout=10) for _ in range(count))


@pytest.fixture
def listener(broker: DemoBroker) -> Iterator[Listener]:
    listening = Listener(broker)
    yield listening
    listening.client.disconnect()
    listening.client.loop_stop()


def _boards(broker: DemoBroker, tank: SimulatedTank, rate: float = 1.0) -> Boards:
    clock = Clock(start_us=START_US, rate=rate)
    return Boards(tank, "reef", clock=clock, every_us=MINUTE_US, host=broker.host, port=broker.port)


def test_a_round_arrives_in_each_board_s_own_format(broker: DemoBroker, listener: Listener) -> None:
    tank = SimulatedTank(TankSettings(), seed=1, start_us=START_US)
    boards = _boards(broker, tank)
    boards.connect()
    assert listener.take(4) == {f"brinebell/reef/{board.name}/status": "online" for board in BOARDS}
    boards.publish(START_US + MINUTE_US)
    arrived = listener.take(5)
    boards.disconnect()
    same = SimulatedTank(TankSettings(), seed=1, start_us=START_US)
    same.advance_to(START_US + MINUTE_US)
    shown = same.read()
    assert json.loads(arrived["brinebell/reef/sump/senml"]) == [
        {"bn": "sump/", "bt": 1_772_409_660, "n": "temperature", "u": "Cel", "v": shown["temperature"]},
        {"n": "reservoir", "u": "l", "v": shown["reservoir"]},
        {"n": "level", "u": "m", "v": pytest.approx(shown["sump_level"] / 100)},
    ]
    assert json.loads(arrived["brinebell/reef/chemistry/readings"]) == {
        "at": "2026-03-02T00:01:00Z",
        "probes": {"ph": shown["ph"], "salinity": shown["practical_salinity"]},
    }
    assert arrived["brinebell/reef/room/temperature"] == f"{shown['room_temperature']:.1f}"
    assert arrived["brinebell/reef/heater/power"] == f"{shown['heater_power']:.0f}"
    assert arrived["brinebell/reef/top_off/state"] == "OFF"


def test_a_silent_probe_leaves_its_value_out_and_the_board_s_time_in(
    broker: DemoBroker, listener: Listener
) -> None:
    tank = SimulatedTank(
        TankSettings(), seed=1, start_us=START_US, faults=[ProbeSilent("temperature", START_US)]
    )
    boards = _boards(broker, tank)
    boards.connect()
    listener.take(4)
    boards.publish(START_US + MINUTE_US)
    records = json.loads(listener.take(5)["brinebell/reef/sump/senml"])
    boards.disconnect()
    assert [record["n"] for record in records] == ["reservoir", "level"]
    assert records[0]["bt"] == 1_772_409_660


def test_a_board_that_loses_its_plug_leaves_its_will(broker: DemoBroker, listener: Listener) -> None:
    boards = _boards(broker, SimulatedTank(TankSettings(), seed=1, start_us=START_US))
    boards.connect()
    listener.take(4)
    boards.lose("chemistry")
    assert listener.take(1) == {"brinebell/reef/chemistry/status": "offline"}
    boards.publish(START_US + MINUTE_US)
    assert "brinebell/reef/chemistry/readings" not in listener.take(4)
    boards.disconnect()


def test_rounds_follow_the_clock_s_rate_and_stop_with_it(broker: DemoBroker, listener: Listener) -> None:
    tank = SimulatedTank(TankSettings(), seed=1, start_us=START_US)
    with _boards(broker, tank, rate=1200.0):
        listener.take(4)
        times = []
        while len(times) < 4:
            topic, payload = listener.messages.get(timeout=10)
            if topic.endswith("/senml"):
                times.append(json.loads(payload)[0]["bt"])
    assert times == [1_772_409_600 + 60 * minute for minute in (1, 2, 3, 4)]


def test_no_broker_is_an_error_that_names_board_and_address(tmp_path: Path) -> None:
    broker = DemoBroker(tmp_path, kind="mosquitto")
    boards = _boards(broker, SimulatedTank(TankSettings(), seed=1, start_us=START_US))
    with pytest.raises(BrokerError, match=f"board sump reaches no broker at 127.0.0.1:{broker.port}"):
        boards.connect()


def test_what_boards_say_becomes_the_series_of_the_demo(broker: DemoBroker, listener: Listener) -> None:
    """Through the real configuration, router and units: each value arrives as its probe showed it."""
    with as_file(files("collector") / "data" / "demo.toml") as path:
        configuration = load_configuration(path, {})
    router = Router(configuration, converter)
    boards = _boards(broker, SimulatedTank(TankSettings(), seed=1, start_us=START_US))
    boards.connect()
    listener.take(4)
    at_us = START_US + MINUTE_US
    boards.publish(at_us)
    arrived = listener.take(5)
    boards.disconnect()
    same = SimulatedTank(TankSettings(), seed=1, start_us=START_US)
    same.advance_to(at_us)
    found, times = {}, {}
    for topic, payload in arrived.items():
        readings, problems = router.route(topic, payload.encode(), received_us=at_us + MICROSECONDS)
        assert problems == []
        for reading in readings:
            name = configuration.series[reading.series].name
            found[name] = reading.value
            times[name] = reading.observed_us
    assert found == pytest.approx(same.read())
    own_time = {"temperature", "reservoir", "sump_level", "ph", "practical_salinity"}
    assert {name for name, observed_us in times.items() if observed_us == at_us} == own_time
    assert {name for name, observed_us in times.items() if observed_us is None} == found.keys() - own_time
