"""Clients that are slow or silent, over real sockets: they hold no place that somebody else needs."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack

import httpx
import pytest

from collector.configuration import Configuration
from collector.pages import Answers, PagesServer, serve_in_thread
from collector.store import RequestBox, Store, StoreReader
from tests.pages import tank
from tests.pages.conftest import standing_clock
from tests.pages.test_answering import LINKS

PATIENCE_S = 1.0
MOST = 64
HEAD = b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n"
FORM = (
    b"POST /work HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 1000\r\n"
    b"Content-Type: application/x-www-form-urlencoded\r\n\r\nform="
)
# A request in a connection of its own, as somebody new would make it.
NEW = {"connection": "close"}


@pytest.fixture
def server(
    store: Store, configuration: Configuration, request: pytest.FixtureRequest
) -> Iterator[PagesServer]:
    tank.fill(store, configuration, hours=2, end_us=tank.NOW - 10 * tank.SECOND)
    path = configuration.store.path
    with serve_in_thread(
        configuration,
        lambda: StoreReader(path),
        standing_clock(),
        answers=Answers(LINKS, lambda: RequestBox(path)),
        patience_s=getattr(request, "param", PATIENCE_S),
        live_every_s=0.1,
    ) as server:
        yield server


@pytest.fixture
def connections(server: PagesServer) -> Iterator[Connections]:
    with ExitStack() as stack:
        yield Connections(server, stack)


class Connections:
    """Sockets to the page, closed in the end."""

    def __init__(self, server: PagesServer, stack: ExitStack) -> None:
        self._address = httpx.URL(server.address)
        self._stack = stack
        self.pages = stack.enter_context(httpx.Client(base_url=server.address, trust_env=False))

    def open(self, said: bytes = b"") -> socket.socket:
        link = socket.create_connection((self._address.host, self._address.port or 0))
        self._stack.enter_context(link)
        link.settimeout(10)
        link.sendall(said)
        return link


def is_let_go(link: socket.socket) -> bool:
    """Wait until the server ends a connection; False if it says anything before."""
    try:
        return link.recv(65536) == b""
    except ConnectionResetError:
        return True


@pytest.mark.parametrize("server", [600.0], indirect=True)
def test_sixty_four_slow_clients_leave_the_page_to_who_asks(connections: Connections) -> None:
    """They give way, who came first, and are not merely waited for."""
    said = [b"", HEAD, HEAD[:9], FORM]
    held = [connections.open(said[number % 4]) for number in range(MOST)]
    for _ in range(3):
        answer = connections.pages.get("/", headers=NEW)
        assert answer.status_code == 200
        assert "All quiet" in answer.text
    assert is_let_go(held[0])
    held[-1].setblocking(False)
    with pytest.raises(BlockingIOError):
        held[-1].recv(1)


def test_all_slow_clients_are_let_go_of_in_the_end(
    connections: Connections, caplog: pytest.LogCaptureFixture
) -> None:
    held = [connections.open(said) for said in (b"", HEAD, HEAD[:9], FORM)]
    assert all(is_let_go(link) for link in held)
    assert not caplog.records


def test_single_bytes_are_no_request(connections: Connections) -> None:
    link = connections.open()
    gone = threading.Event()

    def drip() -> None:
        for byte in HEAD * 20:
            try:
                link.send(bytes([byte]))
            except OSError:
                break
            if gone.wait(0.05):
                break

    dripping = threading.Thread(target=drip)
    dripping.start()
    begun = time.monotonic()
    assert is_let_go(link)
    assert PATIENCE_S * 0.9 < time.monotonic() - begun < 5
    gone.set()
    dripping.join()


def test_a_connection_that_is_kept_is_let_go_when_its_next_request_drags(connections: Connections) -> None:
    link = connections.open(HEAD + b"\r\n")
    answer = b""
    while b"</html>" not in answer:
        answer += link.recv(65536)
    assert answer.startswith(b"HTTP/1.1 200")
    link.sendall(HEAD)
    assert is_let_go(link)


def test_who_takes_nothing_of_a_long_answer_is_let_go(
    server: PagesServer, connections: Connections, configuration: Configuration
) -> None:
    """Many requests at once, of which no answer is read: more than buffers take."""
    link = socket.socket()
    link.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    address = httpx.URL(server.address)
    link.connect((address.host, address.port or 0))
    link.settimeout(10)
    # Far more than the buffers between the two take.
    link.sendall((HEAD.replace(b"/", b"/static/brinebell.css", 1) + b"\r\n") * 2000)

    def ask_on() -> None:
        for _ in range(600):
            link.sendall(b"G")
            time.sleep(0.05)

    with link, pytest.raises(OSError, match=r"reset|Broken pipe"):
        ask_on()
    assert connections.pages.get("/", headers=NEW).status_code == 200


def test_a_live_page_goes_on_for_as_long_as_somebody_watches(
    connections: Connections, store: Store, configuration: Configuration
) -> None:
    with connections.pages.stream("GET", "/live", timeout=10) as stream:
        lines = stream.iter_lines()
        assert next(lines) == "retry: 3000"
        time.sleep(2 * PATIENCE_S)
        held = [connections.open() for _ in range(MOST)]
        tank.commit(store, tank.row(7, tank.NOW, 1.0))
        assert any("reef/floor_leak:value" in line and "closed" in line for line in lines)
        assert all(is_let_go(link) for link in held)
