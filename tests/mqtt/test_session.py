"""The session over real brokers: what is kept, what is said, and what never happens."""

from __future__ import annotations

import gc
import logging
import signal
import socket
import subprocess
import threading
import time
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from collector.configuration import MqttConfiguration
from collector.errors import ConfigError
from collector.mqtt import CaughtUp, Connected, Disconnected, Protocol, Received, Session
from collector.mqtt.marker import MARKER_LIMIT_S
from tests.broker import Mosquitto, amqtt, free_port, mosquitto

pytestmark = pytest.mark.broker


def now_us() -> int:
    return time.time_ns() // 1000


class Notes(dict[str, str]):
    """What outlives a session."""

    def remember(self, key: str, note: str) -> None:
        self[key] = note


def make_session(port: int, notes: Notes | None = None, **settings: object) -> Session:
    notes = Notes() if notes is None else notes
    configuration = MqttConfiguration(port=port, **settings)
    filters = ["boards/#"]
    return Session(
        configuration, filters, now_us, recall=notes.get, remember=notes.remember, jitter=lambda: 0.0
    )


def until(
    session: Session,
    wanted: Callable[[list[Received]], bool],
    seconds: float = 15.0,
    *,
    acknowledge: bool = True,
) -> list[Received]:
    """Rounds of a session until they hold what is wanted."""
    rounds: list[Received] = []
    end = time.monotonic() + seconds
    while not wanted(rounds):
        assert time.monotonic() < end, f"waited in vain; heard {rounds}"
        received = session.receive(0.1)
        if received.messages or received.change or received.caught_up:
            rounds.append(received)
        if acknowledge:
            session.acknowledge(received.receipt)
    return rounds


def changes(rounds: list[Received]) -> list[object]:
    return [one.change for one in rounds if one.change is not None]


def payloads(rounds: list[Received]) -> list[bytes]:
    return [message.payload for one in rounds for message in one.messages]


def is_caught_up(rounds: list[Received]) -> bool:
    return any(one.caught_up is not None for one in rounds)


def is_connected(rounds: list[Received]) -> bool:
    return any(isinstance(one, Connected) for one in changes(rounds))


def has(count: int) -> Callable[[list[Received]], bool]:
    return lambda rounds: len(payloads(rounds)) >= count


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    with mosquitto(tmp_path / "broker") as running:
        yield running


def test_mosquitto_is_spoken_to_in_mqtt_5_and_the_marker_comes_back(broker: Mosquitto) -> None:
    session = make_session(broker.port)
    rounds = until(session, is_caught_up)
    assert changes(rounds) == [Connected(1, session_present=False)]
    assert rounds[-1].caught_up == CaughtUp(0, was_heard=True)
    assert session.protocol is Protocol.V5
    assert session.window == MqttConfiguration().receive_maximum
    session.close()


def test_what_was_not_acknowledged_comes_again_with_the_duplicate_flag(broker: Mosquitto) -> None:
    session = make_session(broker.port)
    until(session, is_caught_up)
    assert broker.publish("boards/a", "1")
    assert broker.publish("boards/a", "2")
    first = until(session, has(2), acknowledge=False)
    assert [message.is_redelivered for one in first for message in one.messages] == [False, False]
    session.close()

    session = make_session(broker.port)
    again = until(session, is_caught_up)
    assert changes(again) == [Connected(1, session_present=True)]
    assert payloads(again) == [b"1", b"2"]
    assert all(message.is_redelivered for one in again for message in one.messages)
    session.close()

    session = make_session(broker.port)
    assert payloads(until(session, is_caught_up)) == []
    session.close()


def test_a_receipt_covers_what_was_handed_out_and_nothing_after(broker: Mosquitto) -> None:
    session = make_session(broker.port)
    until(session, is_caught_up)
    broker.publish("boards/a", "1")
    receipt = until(session, has(1), acknowledge=False)[-1].receipt
    broker.publish("boards/a", "2")
    until(session, has(1), acknowledge=False)
    session.acknowledge(receipt)
    session.close()
    session = make_session(broker.port)
    assert payloads(until(session, is_caught_up)) == [b"2"]
    session.close()


def test_a_receipt_of_an_old_connection_acknowledges_nothing_on_a_new_one(broker: Mosquitto) -> None:
    session = make_session(broker.port)
    until(session, is_caught_up)
    broker.publish("boards/a", "1")
    old = until(session, has(1), acknowledge=False)[-1].receipt
    broker.stop()
    until(session, lambda rounds: Disconnected(1) in changes(rounds), acknowledge=False)
    broker.start()
    rounds = until(session, is_caught_up, acknowledge=False)
    assert payloads(rounds) == [b"1"]
    session.acknowledge(old)
    session.close()
    session = make_session(broker.port)
    assert payloads(until(session, is_caught_up)) == [b"1"]
    session.close()


def test_what_was_published_while_away_lies_before_the_marker_in_order(broker: Mosquitto) -> None:
    session = make_session(broker.port)
    until(session, is_caught_up)
    session.close()
    for number in range(30):
        assert broker.publish("boards/a", str(number))
    session = make_session(broker.port)
    rounds = until(session, is_caught_up)
    before = []
    for one in rounds:
        place = len(one.messages) if one.caught_up is None else one.caught_up.position
        before += [message.payload for message in one.messages[:place]]
    assert before == [str(number).encode() for number in range(30)]
    session.close()


@pytest.mark.parametrize("version", ["3.1.1", "5"])
def test_a_retained_message_says_that_it_is_one(broker: Mosquitto, version: str) -> None:
    broker.publish("boards/a", "7", "-r")
    notes = Notes({f"mqtt protocol 127.0.0.1:{broker.port}": version})
    session = make_session(broker.port, notes)
    rounds = until(session, is_caught_up)
    assert str(session.protocol) == version
    assert [message.is_retained for one in rounds for message in one.messages] == [True]
    broker.publish("boards/a", "8", "-r")
    live = until(session, has(1))
    assert [message.is_retained for one in live for message in one.messages] == [False]
    session.close()


def test_mqtt_5_sends_a_retained_message_only_with_a_new_subscription(broker: Mosquitto) -> None:
    broker.publish("boards/a", "7", "-r")
    for expected in ([b"7"], []):
        session = make_session(broker.port)
        assert payloads(until(session, is_caught_up)) == expected
        session.close()


def test_amqtt_is_spoken_to_in_3_1_1_and_keeps_the_session() -> None:
    notes = Notes()
    with amqtt() as port:
        session = make_session(port, notes, username="keeper")
        until(session, is_caught_up, 30)
        assert session.protocol is Protocol.V3_1_1
        session.close()
        for number in range(3):
            subprocess.run(
                [
                    "mosquitto_pub",
                    "-p",
                    str(port),
                    "-u",
                    "board",
                    "-q",
                    "1",
                    "-t",
                    "boards/a",
                    "-m",
                    str(number),
                ],
                check=True,
                timeout=20,
            )
        session = make_session(port, notes, username="keeper")
        rounds = until(session, lambda rounds: is_caught_up(rounds) and has(3)(rounds), 30)
        assert payloads(rounds) == [b"0", b"1", b"2"]
        # It leaves MQTT 5 unanswered: believed when it has happened twice.
        assert notes[f"mqtt protocol 127.0.0.1:{port}"] == "3.1.1"
        session.close()
        session = make_session(port, notes, username="keeper")
        begun = time.monotonic()
        until(session, is_connected)
        assert time.monotonic() - begun < 2.5, "the version was not remembered"
        # amqtt now and then loses the marker of a session that comes back at once: then a quiet line is live.
        until(session, is_caught_up, MARKER_LIMIT_S + 15.0)
        session.close()


def answering(answer: bytes) -> tuple[int, Callable[[], list[int]]]:
    """A broker of a few lines that gives this answer to a CONNECT and ends; which versions were asked for."""
    server = socket.create_server(("127.0.0.1", 0))
    asked: list[int] = []

    def serve() -> None:
        while True:
            try:
                client, _ = server.accept()
            except OSError:
                return
            with client:
                packet = client.recv(1024)
                asked.append(packet[packet.index(b"MQTT") + 4])
                client.sendall(answer if asked[-1] == 5 else b"\x20\x02\x00\x00")
                if asked[-1] == 4:
                    client.recv(1024)
                    time.sleep(0.5)

    threading.Thread(target=serve, name="answering", daemon=True).start()

    def close() -> list[int]:
        server.close()
        return asked

    return server.getsockname()[1], close


@pytest.mark.parametrize(
    ("answer", "note"),
    [
        pytest.param(b"\x20\x03\x00\x84\x00", "3.1.1", id="reason code 0x84 of MQTT 5"),
        pytest.param(b"\x20\x02\x00\x01", "3.1.1", id="return code 1 of MQTT 3.1.1"),
        pytest.param(b"", "unanswered", id="the connection is closed"),
    ],
)
def test_a_broker_that_does_not_know_mqtt_5_is_asked_in_3_1_1_at_once(answer: bytes, note: str) -> None:
    """MQTT 5.0, 3.2.2.2 and MQTT 3.1.1, 3.2.2.3: the ways in which a version is refused."""
    port, close = answering(answer)
    notes = Notes()
    session = make_session(port, notes)
    begun = time.monotonic()
    until(session, lambda rounds: Connected(2, session_present=False) in changes(rounds))
    assert time.monotonic() - begun < 1.0
    assert session.protocol is Protocol.V3_1_1
    assert notes[f"mqtt protocol 127.0.0.1:{port}"] == note
    session.close()
    assert close()[:2] == [5, 4]


def test_a_session_taken_over_says_that_two_services_share_a_client_id(
    caplog: pytest.LogCaptureFixture,
) -> None:
    """MQTT 5.0, 3.1.4 and 3.14.2: the server ends the older connection with reason code 0x8E."""
    port, close = answering(b"\x20\x03\x00\x00\x00\xe0\x01\x8e")
    session = make_session(port)
    until(session, lambda rounds: Disconnected(1) in changes(rounds))
    assert "two services share one client id" in caplog.text
    session.close()
    close()


def test_services_that_push_each_other_out_without_a_word_get_the_hint_too(
    broker: Mosquitto, caplog: pytest.LogCaptureFixture
) -> None:
    """mosquitto 2.0.11 only closes the older connection."""
    first, second = make_session(broker.port), make_session(broker.port)
    end = time.monotonic() + 20
    while "two services may share one [mqtt] client_id" not in caplog.text and time.monotonic() < end:
        first.receive(0.05)
        second.receive(0.05)
    assert "two services may share one [mqtt] client_id" in caplog.text
    second.close()
    first.close()


def test_a_wrong_password_is_told_with_its_mend(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    (tmp_path / "passwords").write_text("")
    lines = ("allow_anonymous false", f"password_file {tmp_path / 'passwords'}")
    with mosquitto(tmp_path / "broker", *lines) as broker:
        session = make_session(broker.port, username="nobody", password="hush-hush")
        end = time.monotonic() + 5
        while "refused us" not in caplog.text and time.monotonic() < end:
            session.receive(0.1)
        session.close()
    assert "[mqtt] username" in caplog.text
    assert "hush-hush" not in caplog.text


def test_a_broker_that_is_away_is_waited_for_and_told_once(
    broker: Mosquitto, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.INFO)
    broker.stop()
    session = make_session(broker.port)
    end = time.monotonic() + 3
    while time.monotonic() < end:
        session.receive(0.2)
    assert caplog.text.count("cannot be reached") == 1
    broker.start()
    until(session, is_caught_up)
    assert "connected to" in caplog.text
    session.close()


def test_a_marker_that_never_comes_back_does_not_keep_the_line_in_backlog(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """mosquitto drops what an access list forbids and acknowledges it all the same."""
    (tmp_path / "access").write_text("topic read boards/#\n")
    now_s = [0.0]
    with mosquitto(tmp_path / "broker", f"acl_file {tmp_path / 'access'}") as broker:
        session = Session(
            MqttConfiguration(port=broker.port), ["boards/#"], now_us, monotonic=lambda: now_s[0]
        )
        rounds: list[Received] = []
        end = time.monotonic() + 10
        while not is_caught_up(rounds) and time.monotonic() < end:
            rounds.append(session.receive(0.05))
            now_s[0] += 0.5
        assert CaughtUp(0, was_heard=False) in [one.caught_up for one in rounds]
        assert "brinebell/service/#" in caplog.text
        session.close()


def test_the_last_will_says_offline_when_the_service_dies_and_a_clean_stop_says_so_too(
    broker: Mosquitto,
) -> None:
    def status() -> str:
        command = [
            "mosquitto_sub",
            "-p",
            str(broker.port),
            "-t",
            "brinebell/service/brinebell/status",
            "-C",
            "1",
        ]
        return subprocess.run(
            [*command, "-W", "5"], capture_output=True, text=True, check=True
        ).stdout.strip()

    session = make_session(broker.port)
    until(session, is_caught_up)
    assert status() == "online"
    session.close()
    assert status() == "offline"
    session = make_session(broker.port)
    until(session, is_caught_up)
    assert status() == "online"
    session._connection.abandon()  # as a kill would
    end = time.monotonic() + 5
    while status() != "offline" and time.monotonic() < end:
        time.sleep(0.05)
    assert status() == "offline"
    session.close()


def test_wake_ends_a_long_wait(broker: Mosquitto) -> None:
    session = make_session(broker.port)
    until(session, is_caught_up)
    threading.Timer(0.2, session.wake).start()
    begun = time.monotonic()
    session.receive(30)
    assert time.monotonic() - begun < 5
    session.close()


def test_a_certificate_file_that_is_not_there_is_the_operators_turn(tmp_path: Path) -> None:
    session = make_session(free_port(), tls=True, ca_file=tmp_path / "nowhere.pem")
    with pytest.raises(ConfigError, match="ca_file"):
        session.receive(0.1)
    session.close()


@pytest.fixture(scope="module")
def certificates(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("tls")
    command = (
        "openssl req -x509 -newkey rsa:2048 -nodes -keyout key.pem -out cert.pem -days 2 -subj /CN=localhost"
    )
    extension = ["-addext", "subjectAltName=DNS:localhost,IP:127.0.0.1"]
    subprocess.run([*command.split(), *extension], cwd=folder, check=True, capture_output=True)
    folder.chmod(0o755)
    (folder / "key.pem").chmod(0o644)
    return folder


def test_tls_with_an_authority_that_is_named_and_without(
    tmp_path: Path, certificates: Path, caplog: pytest.LogCaptureFixture
) -> None:
    lines = (f"certfile {certificates / 'cert.pem'}", f"keyfile {certificates / 'key.pem'}")
    with mosquitto(tmp_path / "broker", *lines) as broker:
        session = make_session(broker.port, tls=True, ca_file=certificates / "cert.pem")
        until(session, is_caught_up)
        publisher = ["--cafile", str(certificates / "cert.pem")]
        for number in range(5):
            assert broker.publish("boards/a", str(number), *publisher)
        assert len(payloads(until(session, has(5)))) == 5
        session.close()
        session = make_session(broker.port, tls=True)
        end = time.monotonic() + 5
        while "cannot be reached" not in caplog.text and time.monotonic() < end:
            session.receive(0.1)
        assert "certificate" in caplog.text
        session.close()
    with warnings.catch_warnings():
        # paho leaves the socket of a handshake that failed to the garbage collector, which says so.
        warnings.simplefilter("ignore", ResourceWarning)
        gc.collect()


def test_a_broker_killed_after_acknowledging_a_publication_still_has_it(broker: Mosquitto) -> None:
    """The shipped configuration saves after each change; a stock broker would have forgotten."""
    session = make_session(broker.port)
    until(session, is_caught_up)
    session.close()
    assert broker.publish("boards/a", "1")
    time.sleep(1.5)  # its loop saves at its next turn, once a second at the latest
    broker.stop(signal.SIGKILL)
    broker.start()
    session = make_session(broker.port)
    assert payloads(until(session, is_caught_up)) == [b"1"]
    session.close()
