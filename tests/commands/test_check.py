"""What `brinebell check` says of a real broker, a real store and a real receiver, well or not."""

from __future__ import annotations

import os
import subprocess
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest

from collector.checks import Finding, Verdict
from collector.checks.broker import STOCK_BROKER, check_broker
from collector.checks.delivery import check_delivery
from collector.checks.heat import check_heat
from collector.checks.page import check_page
from collector.checks.store import check_store
from collector.checks.usual import check_usual
from collector.configuration import (
    MqttConfiguration,
    PageConfiguration,
    StoreConfiguration,
)
from collector.learning import record
from collector.settings import read_configuration
from collector.store import Commit, Store
from rules import (
    HeatModel,
    Learning,
    NotFitted,
    PoorFit,
    WeekProfile,
)
from tests.commands.conftest import Run, free_port
from tests.pages import tank
from tests.store.commits import SERIES as STORED_SERIES
from tests.store.commits import START_US

StartBroker = Callable[[str], int]


def _one(findings: Iterator[Finding], verdict: Verdict) -> Finding:
    (found,) = [one for one in findings if one.verdict is verdict]
    return found


# -- broker --------------------------------------------------------------------------------------------


@pytest.mark.broker
def test_broker_that_lets_us_in_is_well(start_broker: StartBroker) -> None:
    port = start_broker("allow_anonymous true")
    findings = list(check_broker(MqttConfiguration(port=port)))
    assert findings[0].verdict is Verdict.WELL
    assert "MQTT 5" in findings[0].text
    assert STOCK_BROKER in findings
    assert "1,000 messages" in STOCK_BROKER.text


@pytest.mark.broker
@pytest.mark.parametrize(("password", "is_well"), [("salt", True), ("sand", False), (None, False)])
def test_broker_tells_a_wrong_password(
    start_broker: StartBroker, tmp_path: Path, password: str | None, is_well: bool
) -> None:
    subprocess.run(["mosquitto_passwd", "-b", "-c", tmp_path / "users", "keeper", "salt"], check=True)
    port = start_broker(f"allow_anonymous false\npassword_file {tmp_path}/users")
    findings = check_broker(MqttConfiguration(port=port, username="keeper", password=password))
    first = next(findings)
    assert first.verdict is (Verdict.WELL if is_well else Verdict.WRONG)
    if not is_well:
        how = "without a password" if password is None else "with this password"
        assert f'does not let user "keeper" in {how}' in first.text
        assert "mqtt.username" in first.mend
        assert "sand" not in first.text + first.mend


def test_broker_that_is_not_there_is_told() -> None:
    found = _one(check_broker(MqttConfiguration(port=free_port())), Verdict.WRONG)
    assert "nothing listens" in found.text
    assert "start the broker" in found.mend


def test_host_that_does_not_exist_is_told() -> None:
    found = _one(check_broker(MqttConfiguration(host="no-such-host.invalid")), Verdict.WRONG)
    assert "cannot be reached" in found.text


# paho leaves the socket of a failed handshake to the garbage collector.
LEFT_SOCKET = pytest.mark.filterwarnings(
    "ignore:Exception ignored in. <ssl.SSLSocket:pytest.PytestUnraisableExceptionWarning"
)


@LEFT_SOCKET
@pytest.mark.broker
def test_tls_against_a_plain_port_is_told(start_broker: StartBroker) -> None:
    port = start_broker("allow_anonymous true")
    found = _one(check_broker(MqttConfiguration(port=port, tls=True)), Verdict.WRONG)
    assert "TLS" in found.text + found.mend


@pytest.fixture
def certificate(tmp_path: Path) -> Path:
    """A certificate for 127.0.0.1 that signs itself; its key lies beside it."""
    subprocess.run(
        [
            *(
                "openssl",
                "req",
                "-x509",
                "-newkey",
                "rsa:2048",
                "-nodes",
                "-days",
                "2",
                "-subj",
                "/CN=broker",
            ),
            *("-addext", "subjectAltName=IP:127.0.0.1"),
            *("-keyout", tmp_path / "key.pem", "-out", tmp_path / "ca.pem"),
        ],
        check=True,
        capture_output=True,
    )
    return tmp_path / "ca.pem"


@pytest.fixture
def tls_port(start_broker: StartBroker, certificate: Path) -> int:
    folder = certificate.parent
    return start_broker(f"allow_anonymous true\ncertfile {certificate}\nkeyfile {folder}/key.pem")


@pytest.mark.broker
def test_certificate_of_a_named_authority_is_well(tls_port: int, certificate: Path) -> None:
    findings = check_broker(MqttConfiguration(port=tls_port, tls=True, ca_file=certificate))
    assert next(findings).verdict is Verdict.WELL


@LEFT_SOCKET
@pytest.mark.broker
def test_certificate_that_is_not_trusted_is_told(tls_port: int) -> None:
    found = _one(check_broker(MqttConfiguration(port=tls_port, tls=True)), Verdict.WRONG)
    assert "not trusted" in found.text
    assert "mqtt.ca_file" in found.mend


@pytest.mark.broker
def test_plain_connection_to_a_tls_port_is_told(tls_port: int) -> None:
    found = _one(check_broker(MqttConfiguration(port=tls_port)), Verdict.WRONG)
    assert "mqtt.tls = true" in found.mend


@pytest.mark.broker
def test_running_service_keeps_its_session(start_broker: StartBroker) -> None:
    """A second client of the same id would be let in, and the first thrown out."""
    port = start_broker("allow_anonymous true")
    with subprocess.Popen(
        ["mosquitto_sub", "-p", str(port), "-i", "brinebell", "-t", "x", "-C", "1", "-W", "20"],
        stdout=subprocess.PIPE,
    ) as listener:
        assert listener.stdout is not None
        assert next(check_broker(MqttConfiguration(port=port))).verdict is Verdict.WELL
        while listener.poll() is None:
            subprocess.run(["mosquitto_pub", "-p", str(port), "-t", "x", "-m", "here"], check=True)
            try:
                listener.wait(0.1)
            except subprocess.TimeoutExpired:
                continue
        assert listener.stdout.read() == b"here\n"


# -- store ---------------------------------------------------------------------------------------------


def test_store_that_is_not_there_yet_is_well_and_not_made(tmp_path: Path) -> None:
    findings = list(check_store(StoreConfiguration(tmp_path / "new" / "folder")))
    assert all(one.verdict is not Verdict.WRONG for one in findings)
    assert not (tmp_path / "new").exists()


def test_sound_store_is_well(tmp_path: Path) -> None:
    configuration = StoreConfiguration(tmp_path)
    with Store(configuration.path):
        pass
    before = {path.name for path in tmp_path.iterdir()}
    assert any("is sound" in one.text for one in check_store(configuration))
    # A reader of a write-ahead log makes these two where they are not there.
    assert {path.name for path in tmp_path.iterdir()} - before <= {
        "brinebell.sqlite-wal",
        "brinebell.sqlite-shm",
    }


def test_conflicts_are_counted_and_many_a_day_are_a_note(tmp_path: Path) -> None:
    configuration = StoreConfiguration(tmp_path)
    with Store(configuration.path) as store:
        store.register(STORED_SERIES)
        rows = [(0, START_US, float(value), 1, 0, 0, 0, b"") for value in range(51)]
        store.commit(Commit(START_US, START_US, rows=rows[:3]))
        (told,) = (one for one in check_store(configuration) if "is sound" in one.text)
        assert told.verdict is Verdict.WELL
        assert told.text.endswith(
            "; 2 readings had another value than the one stored of their instant, which stays"
        )
        store.commit(Commit(START_US, START_US, rows=rows))
    (told,) = (one for one in check_store(configuration) if "is sound" in one.text)
    assert told.verdict is Verdict.NOTE
    assert "; 50 readings had another value" in told.text


def test_damaged_store_is_told(tmp_path: Path) -> None:
    configuration = StoreConfiguration(tmp_path)
    with Store(configuration.path):
        pass
    size = configuration.path.stat().st_size
    with configuration.path.open("r+b") as file:
        file.seek(size // 3)
        file.write(os.urandom(size // 3))
    found = _one(check_store(configuration), Verdict.WRONG)
    assert "is damaged" in found.text
    assert "aside" in found.mend


def test_file_in_the_way_of_the_folder_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    found = _one(check_store(StoreConfiguration(tmp_path / "file")), Verdict.WRONG)
    assert "cannot be written" in found.text


def test_folder_that_takes_no_file_is_told() -> None:
    """Not even from the superuser, whom permissions do not stop."""
    found = _one(check_store(StoreConfiguration(Path("/proc/self"))), Verdict.WRONG)
    assert "/proc/self" in found.text
    assert found.mend


# -- delivery ------------------------------------------------------------------------------------------


@contextmanager
def _receiver(status: int) -> Iterator[tuple[int, list[bytes]]]:
    """A web server that answers every POST with a status, and keeps what it was sent."""
    received: list[bytes] = []

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            received.append(self.rfile.read(int(self.headers["Content-Length"])))
            self.send_response(status)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *arguments: object) -> None:
            pass

    with ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
        thread = threading.Thread(target=server.serve_forever, name="receiver")
        thread.start()
        try:
            yield server.server_address[1], received
        finally:
            server.shutdown()
            thread.join()


# One of apprise's plug-ins imports a module that Python is going to drop.
OLD_MODULE = pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning")


def _delivery(urls: str, *, is_ringing: bool) -> list[Finding]:
    environ = {"BRINEBELL_PEOPLE__KEEPER__URLS": urls} if urls else {}
    return list(check_delivery(read_configuration(None, environ).configuration, is_ringing=is_ringing))


def test_nobody_to_tell_is_wrong() -> None:
    (found,) = _delivery("", is_ringing=False)
    assert (found.verdict, "urls_file" in found.mend) == (Verdict.WRONG, True)


@OLD_MODULE
def test_url_that_cannot_be_read_is_told_without_it() -> None:
    found = _one(iter(_delivery("json://127.0.0.1/ nosuch://hunter2000", is_ringing=False)), Verdict.WRONG)
    assert "keeper: nosuch" in found.text
    assert "hunter2000" not in found.text + found.mend
    assert "correct URL 2 of people.keeper" in found.mend


@OLD_MODULE
def test_url_that_cannot_be_read_is_told_once_and_the_others_are_tried() -> None:
    with _receiver(200) as (port, received):
        findings = _delivery(f"nosuch://hunter2000 json://127.0.0.1:{port}/", is_ringing=True)
    assert [one.verdict for one in findings] == [Verdict.WRONG, Verdict.WELL, Verdict.WELL]
    assert len(received) == 1


@OLD_MODULE
def test_nothing_is_sent_without_being_asked() -> None:
    with _receiver(200) as (port, received):
        findings = _delivery(f"json://127.0.0.1:{port}/", is_ringing=False)
    assert received == []
    assert findings[-1].verdict is Verdict.NOTE


@OLD_MODULE
def test_ringing_sends_one_message_over_each_channel() -> None:
    with _receiver(200) as (port, received):
        findings = _delivery(f"json://127.0.0.1:{port}/a json://127.0.0.1:{port}/b", is_ringing=True)
    assert len(received) == 2
    assert all(one.verdict is Verdict.WELL for one in findings)


@OLD_MODULE
def test_channel_that_refuses_is_told_without_its_secret() -> None:
    with _receiver(403) as (port, _):
        found = _one(iter(_delivery(f"json://127.0.0.1:{port}/hunter2000", is_ringing=True)), Verdict.WRONG)
    assert "did not take a test message" in found.text
    assert "hunter2000" not in found.text


# -- page and the whole command ------------------------------------------------------------------------


def test_free_port_is_well() -> None:
    assert next(check_page(PageConfiguration(port=free_port()))).verdict is Verdict.WELL


def test_port_in_use_is_told() -> None:
    with _receiver(200) as (port, _):
        found = next(check_page(PageConfiguration(port=port)))
    assert "cannot be listened at" in found.text


def test_page_that_is_not_wanted_is_noted() -> None:
    (found,) = check_page(PageConfiguration(enabled=False))
    assert found.verdict is Verdict.NOTE


@pytest.mark.broker
def test_command_is_status_0_where_nothing_is_wrong(
    run: Run, write: Callable[[str], Path], start_broker: StartBroker
) -> None:
    broker = start_broker("allow_anonymous true")
    write(f'[mqtt]\nport = {broker}\n[page]\nlisten = "127.0.0.1:{free_port()}"\n')
    with _receiver(200) as (port, received):
        told = run("check", "--ring", BRINEBELL_PEOPLE__KEEPER__URLS=f"json://127.0.0.1:{port}/hunter2000")
    assert told.returncode == 0, told.stdout + told.stderr
    assert told.stdout.endswith("Nothing is wrong.\n")
    assert len(received) == 1
    assert "hunter2000" not in told.stdout + told.stderr


def test_command_is_status_1_and_tells_the_mend_where_something_is_wrong(
    run: Run, write: Callable[[str], Path]
) -> None:
    write(f"[mqtt]\nport = {free_port()}\n")
    told = run("check")
    assert told.returncode == 1
    assert "broker: wrong: nothing listens at" in told.stdout
    assert told.stdout.endswith("2 things are wrong.\n")


def test_command_warns_of_a_secret_that_others_can_read(
    run: Run, write: Callable[[str], Path], tmp_path: Path
) -> None:
    (tmp_path / "secret").write_text("hunter2000\n")
    (tmp_path / "secret").chmod(0o644)
    write(f'[mqtt]\nport = {free_port()}\npassword_file = "secret"\n')
    told = run("check")
    assert "configuration: note: mqtt.password_file: others on this machine can read" in told.stdout
    assert "hunter2000" not in told.stdout + told.stderr


# -- what is usual -------------------------------------------------------------------------------------


def test_what_is_usual_is_told_of_each_series_that_has_none_yet(tmp_path: Path) -> None:
    configuration = tank.configuration(tmp_path)
    assert list(check_usual(configuration)) == []
    profile = WeekProfile("UTC", ((25.0,) * 96,), (0.2,) * 96, 0.99, "level", 0.0, 28)
    with Store(configuration.store.path) as store:
        store.register(configuration.series)
        fits = {0: profile, 1: Learning(2), 2: profile, 3: PoorFit("skill", 0.97, 8.0)}
        record(store, fits.items(), fitted_us=1, applies_from_us=1)
    findings = list(check_usual(configuration))
    notes = [one.text for one in findings if one.verdict is Verdict.NOTE]
    assert notes[0] == "reef/ph: learning, day 3 of 7: silence and fault signs guard meanwhile"
    assert notes[1].startswith("reef/reservoir: no usual pattern, it drifts for days")
    assert notes[2].startswith("reef/heater_power: learning, day 1 of 7")
    assert _one(iter(findings), Verdict.WELL).text == "known of 2 series"


# -- heat ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fitted", "verdict", "words"),
    [
        (HeatModel(14.0, 0.02, (0.0,) * 24, 22.7, 0.5), Verdict.WELL, "reef: time constant 22.7 h (± 0.5 h)"),
        (HeatModel(14.0, 0.02, (0.0,) * 24), Verdict.NOTE, "reef: no time constant, for room and equipment"),
        (NotFitted("no history yet"), Verdict.NOTE, "reef: not known: no history yet"),
        (None, Verdict.NOTE, "reef: not fitted yet"),
    ],
    ids=["known", "no time constant", "not fitted", "never"],
)
def test_the_heat_of_each_tank_is_told_or_why_it_is_not_known(fitted, verdict, words, tmp_path) -> None:
    configuration = tank.configuration(tmp_path)
    assert list(check_heat(configuration)) == []
    with Store(configuration.store.path) as store:
        if fitted is not None:
            record(store, [], [("reef", fitted)], fitted_us=1, applies_from_us=1)
    assert _one(check_heat(configuration), verdict).text.startswith(words)
