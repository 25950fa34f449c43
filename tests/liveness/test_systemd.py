"""What systemd is told, over a real socket: the protocol of sd_notify(3) and sd_watchdog_enabled(3)."""

from __future__ import annotations

import os
import secrets
import socket
import threading
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from collector.liveness import Systemd
from tests.intake.parts import MINUTE, SECOND, Running


class Manager:
    """systemd's end of the socket."""

    def __init__(self, address: str) -> None:
        self.name = address
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind("\0" + address[1:] if address.startswith("@") else address)
        self._socket.setblocking(False)

    def close(self) -> None:
        self._socket.close()

    def heard(self) -> list[bytes]:
        found = []
        with suppress(BlockingIOError):
            while True:
                found.append(self._socket.recv(4096))
        return found


@pytest.fixture(params=["path", "abstract"])
def manager(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Manager]:
    address = f"@brinebell-test-{secrets.token_hex(6)}"
    manager = Manager(address if request.param == "abstract" else str(tmp_path / "notify"))
    yield manager
    manager.close()


def test_it_says_ready_alive_and_stopping(manager: Manager) -> None:
    now_s = [100.0]
    environ = {"NOTIFY_SOCKET": manager.name, "WATCHDOG_USEC": "30000000", "WATCHDOG_PID": str(os.getpid())}
    systemd = Systemd(environ, monotonic=lambda: now_s[0])
    systemd.ready()
    assert manager.heard() == [b"READY=1"]
    for _ in range(60):
        systemd.turn()
        now_s[0] += 0.5
    # At least twice within the limit, as the manual asks, and not each time.
    assert manager.heard() == [b"WATCHDOG=1"] * 3
    systemd.stopping()
    assert manager.heard() == [b"STOPPING=1"]


@pytest.mark.parametrize("watchdog", [{}, {"WATCHDOG_USEC": "1000000", "WATCHDOG_PID": "1"}])
def test_without_a_limit_or_with_that_of_another_process_it_is_not_told_of_rounds(
    manager: Manager, watchdog: dict[str, str]
) -> None:
    systemd = Systemd({"NOTIFY_SOCKET": manager.name, **watchdog})
    systemd.turn()
    assert manager.heard() == []


def test_without_systemd_nothing_happens_and_a_socket_that_is_gone_is_told_once(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    Systemd({}).ready()
    assert caplog.text == ""
    systemd = Systemd({"NOTIFY_SOCKET": str(tmp_path / "gone")})
    systemd.ready()
    systemd.stopping()
    assert caplog.text.count("systemd cannot be told") == 1


def test_a_loop_that_hangs_says_nothing_however_much_time_passes(tmp_path: Path) -> None:
    """The loop hangs in its line, while other threads of the process go on; the clock is the test's."""
    manager = Manager(str(tmp_path / "notify"))
    running = Running(tmp_path / "data")
    running.be_live()
    environ = {"NOTIFY_SOCKET": manager.name, "WATCHDOG_USEC": str(MINUTE)}
    systemd = Systemd(environ, monotonic=lambda: running.now_us / SECOND)
    go_on, hangs = threading.Event(), threading.Event()
    receive = running.line.receive

    def hang(timeout_s: float) -> object:
        hangs.set()
        assert go_on.wait(60)
        return receive(timeout_s)

    def loop(rounds: int) -> None:
        for _ in range(rounds):
            running.intake.round()
            systemd.turn()

    loop(1)
    assert manager.heard() == [b"WATCHDOG=1"]
    running.line.receive = hang  # type: ignore[method-assign,assignment]
    thread = threading.Thread(target=loop, args=(1,))
    # The database is opened for the thread of the test: the line alone is asked, nothing is stored.
    thread.start()
    assert hangs.wait(60)
    running.now_us += 60 * MINUTE
    assert manager.heard() == []
    go_on.set()
    thread.join(60)
    assert manager.heard() == [b"WATCHDOG=1"]
    running.close()
    manager.close()
