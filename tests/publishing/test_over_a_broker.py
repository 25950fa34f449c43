"""States at a real broker: retained, sent anew when it has lost them, and not where it forbids them."""

from __future__ import annotations

import json
import logging
import re
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from collector.alarm_requests import Acknowledge
from collector.configuration import MqttConfiguration
from collector.mqtt import Session
from collector.publishing import TOPICS
from collector.requests import BeginWork, Request
from collector.store import RequestBox
from rules import HOUR_US
from tests.broker import SHIPPED, Listener, Mosquitto, mosquitto
from tests.mqtt.test_session import is_caught_up, now_us, until
from tests.test_crash import SETTINGS, count
from tests.test_service import Service, publish_hot

pytestmark = pytest.mark.broker

RIGHTS = SHIPPED.parent / "rights"
# User -> which rights; as deploy/install gives them.
USERS = {
    "brinebell": "service",
    "sump": "board",
    "chemistry": "board",
    "button": "button",
    "sounder": "sounder",
    "keeper": "person",
}
STATUS = "brinebell/service/brinebell/status"
# For boards, which come without a name, and for the service.
FORBIDDING = "topic readwrite boards/#\n" + "topic readwrite brinebell/service/#\n"
FORBIDDING += f"user keeper\n{FORBIDDING}"
HOT = "brinebell/reef/alarms/temperature/over_limit"


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Callable[..., Service]]:
    services: list[Service] = []

    def make(port: int, text: str = "", user: str = "keeper") -> Service:
        text = text or SETTINGS.format(port=port, interval="50 ms")
        text = text.replace("alarm_high", 'priority = "urgent"\nalarm_high', 1)
        services.append(Service(tmp_path, port, has_page=False, urls="", text=text, user=user))
        return services[-1]

    yield make
    for one in services:
        if one.process.poll() is None:
            one.process.kill()
            one.process.wait(10)


def heat(broker: Mosquitto, service: Service, heard: Listener, state: str) -> None:
    """Publish hot readings until an alarm is told in that state."""

    def is_told() -> bool:
        publish_hot(broker)
        payload = heard[HOT]
        return bool(payload) and json.loads(payload or b"")["state"] == state

    service.until(is_told, 40)


def test_states_are_retained_for_who_comes_later_and_sent_anew_to_a_broker_that_forgot_them(
    tmp_path: Path, start: Callable[..., Service]
) -> None:
    broker = Mosquitto(tmp_path / "broker")
    broker.start()
    try:
        service = start(broker.port)
        service.until(service.is_live)
        with Listener(broker.port) as heard:
            heat(broker, service, heard, "unacknowledged")
            service.until(lambda: heard["brinebell/reef/sounder"] == b"sound")
        with Listener(broker.port) as later:
            service.until(lambda: later["brinebell/reef/sounder"] == b"sound")
            service.until(lambda: later[HOT] is not None and b'"number"' in later["brinebell/reef/incidents"])
            assert json.loads(later["brinebell/reef/series/temperature/quality"] or b"")["flag"] in (1, 2, 3)
        broker.stop()
        # A new card: nothing is left of what it kept.
        (tmp_path / "broker" / "mosquitto.db").unlink()
        broker.start()
        with Listener(broker.port) as anew:
            service.until(lambda: anew["brinebell/reef/sounder"] == b"sound", 40)
            assert json.loads(anew[HOT] or b"")["priority"] == "urgent"
        # What another connection to this broker was acknowledged is stored as ever.
        before = count(service.path)
        assert broker.publish("boards/timeless", "301")
        service.until(lambda: count(service.path) == before + 1, 40)
        assert service.stop() == 0
        assert "Traceback" not in service.log
    finally:
        broker.stop()


def test_an_answer_by_request_shows_as_acknowledged_and_the_sounder_is_quiet(
    tmp_path: Path, start: Callable[..., Service]
) -> None:
    with mosquitto(tmp_path / "broker") as broker, Listener(broker.port) as heard:
        service = start(broker.port)
        service.until(service.is_live)
        heat(broker, service, heard, "unacknowledged")
        service.until(lambda: heard["brinebell/reef/sounder"] == b"sound")
        with RequestBox(service.path) as box:
            box.ask(Request("1", time.time_ns() // 1000, "keeper", Acknowledge("reef", incident=1)))
            service.until(lambda: box.answer("1") is not None)
        service.until(lambda: json.loads(heard[HOT] or b"")["state"] == "acknowledged")
        service.until(lambda: heard["brinebell/reef/sounder"] == b"quiet")
        assert service.stop() == 0


def test_planned_work_shows_as_suppressed_by_design(tmp_path: Path, start: Callable[..., Service]) -> None:
    with mosquitto(tmp_path / "broker") as broker, Listener(broker.port) as heard:
        service = start(broker.port)
        service.until(service.is_live)
        begun_us = time.time_ns() // 1000
        with RequestBox(service.path) as box:
            box.ask(
                Request(
                    "1", begun_us, "keeper", BeginWork("reef", "water_change", begun_us, begun_us + HOUR_US)
                )
            )
            service.until(lambda: box.answer("1") is not None)
        heat(broker, service, heard, "suppressed by design")
        assert heard["brinebell/reef/sounder"] == b"quiet"
        assert service.stop() == 0


def test_everything_that_is_published_is_in_the_list_of_topics(
    tmp_path: Path, start: Callable[..., Service]
) -> None:
    with mosquitto(tmp_path / "broker") as broker, Listener(broker.port) as heard:
        service = start(broker.port)
        service.until(service.is_live)
        heat(broker, service, heard, "unacknowledged")
        assert service.stop() == 0
        patterns = [re.sub("<[^>]+>", "[^/]+", topic.pattern) for topic in TOPICS]
        strays = {one for one in heard.topics if not any(re.fullmatch(two, one) for two in patterns)}
        assert strays == set()


def test_a_broker_that_forbids_states_is_told_once_and_readings_go_on(
    tmp_path: Path, start: Callable[..., Service]
) -> None:
    (tmp_path / "access").write_text(FORBIDDING)
    with mosquitto(tmp_path / "broker", f"acl_file {tmp_path / 'access'}") as broker:
        service = start(broker.port)
        service.until(lambda: "does not let us publish states" in service.log)
        service.until(service.is_live)
        assert broker.publish("boards/timeless", "301")
        service.until(lambda: count(service.path) == 1)
        assert service.stop() == 0
        assert service.log.count("does not let us publish states") == 1
        # One connection was lost for the first state, none after it.
        assert service.log.count("connected to") == 2


def test_with_mqtt_3_1_1_such_a_broker_is_found_out_by_the_connections_that_it_ends(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    (tmp_path / "access").write_text(FORBIDDING)
    caplog.set_level(logging.INFO)
    with mosquitto(tmp_path / "broker", f"acl_file {tmp_path / 'access'}") as broker:
        notes = {f"mqtt protocol 127.0.0.1:{broker.port}": "3.1.1"}
        session = Session(
            MqttConfiguration(port=broker.port),
            ["boards/#"],
            now_us,
            recall=notes.get,
            remember=notes.__setitem__,
            jitter=lambda: 0.0,
        )
        end = time.monotonic() + 30
        connection = None
        while "it cannot say why" not in caplog.text:
            assert time.monotonic() < end, caplog.text
            session.receive(0.05)
            if session.publishing_on not in (None, connection):
                connection = session.publishing_on
                session.publish("brinebell/reef/sounder", b"quiet")
        assert caplog.text.count("MQTT 3.1.1, ") >= 1
        assert "trying MQTT" not in caplog.text
        until(session, is_caught_up)
        assert session.publishing_on is None
        session.close()


@pytest.fixture
def guarded(tmp_path: Path) -> Iterator[Mosquitto]:
    """A broker with the shipped rights, each of its users with the name for a password."""
    rights, passwords = tmp_path / "rights", tmp_path / "passwd"
    texts = [(RIGHTS / kind).read_text().replace("NAME", user) for user, kind in USERS.items()]
    rights.write_text("\n".join(texts))
    passwords.touch()
    for user in USERS:
        subprocess.run(["mosquitto_passwd", "-b", str(passwords), user, user], check=True, timeout=20)
    lines = ("allow_anonymous false", f"password_file {passwords}", f"acl_file {rights}")
    with mosquitto(tmp_path / "broker", *lines) as broker:
        yield broker


def test_with_the_shipped_rights_the_service_can_do_all_it_needs_and_a_board_only_its_own(
    tmp_path: Path, start: Callable[..., Service], guarded: Mosquitto, monkeypatch: pytest.MonkeyPatch
) -> None:
    def publish(user: str, topic: str, payload: str, *options: str) -> None:
        guarded.publish(topic, payload, "-u", user, "-P", user, *options)

    text = SETTINGS.format(port=guarded.port, interval="50 ms").replace("boards/time", "boards/sump/time")
    text = text.replace("[mqtt]\n", "[mqtt]\ntakes_requests = true\n")
    monkeypatch.setenv("BRINEBELL_MQTT__PASSWORD", "brinebell")
    with Listener(guarded.port, "#", "keeper", "keeper") as heard:
        service = start(guarded.port, text, user="brinebell")
        service.until(service.is_live)
        publish("sump", "boards/sump/timeless", "301")
        service.until(lambda: count(service.path) == 1)
        service.until(lambda: heard["brinebell/reef/sounder"] == b"quiet")
        assert heard[STATUS] == b"online"
        begin = '{"id": "%s", "do": "begin_work", "kind": "feeding_pause", "for": "15 min"}'
        for number, user in enumerate(("sump", "chemistry", "sounder")):
            publish(user, "brinebell/reef/requests", begin % number)
            publish(user, "brinebell/reef/sounder", "quiet and false", "-r")
            publish(user, STATUS, "false", "-r")
        publish("chemistry", "boards/sump/timeless", "999")
        publish("button", "brinebell/reef/requests", begin % "button")
        service.until(lambda: "begin feeding pause in reef for 15 min: planned" in service.log)
        publish("sump", "boards/sump/timeless", "302")
        service.until(lambda: count(service.path) == 2)
        assert service.log.count("MQTT asked") == 1
        assert [p for t, p in heard.heard if t == "brinebell/reef/requests"] == [(begin % "button").encode()]
        assert heard["brinebell/reef/sounder"] == b"quiet"
        assert heard[STATUS] == b"online"
        assert service.stop() == 0
        assert "does not let us" not in service.log
    with Listener(guarded.port, "#", "sump", "sump") as board:
        with Listener(guarded.port, "#", "sounder", "sounder") as sounder:
            end = time.monotonic() + 10
            while sounder[STATUS] is None:
                assert time.monotonic() < end
                time.sleep(0.05)
            assert all(
                one.startswith(("brinebell/reef/sounder", "brinebell/service/")) for one in sounder.topics
            )
            assert sounder["brinebell/reef/sounder"] == b"quiet"
        assert board.heard == []
