"""The sign of life to a real HTTP receiver."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest

from collector.liveness import WebSign
from tests.broker import free_port


class Receiver:
    """Takes note of what is asked for; `status` is what it answers."""

    def __init__(self, port: int = 0) -> None:
        self.asked: list[str] = []
        self.status = 200
        receiver = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                receiver.asked.append(self.path)
                self.send_response(receiver.status)
                self.end_headers()

            def log_message(self, *_: object) -> None:
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", port), Handler)
        self.port = self._server.server_address[1]
        self._thread = threading.Thread(target=self._server.serve_forever)
        self._thread.start()

    def close(self) -> None:
        self._server.shutdown()
        self._thread.join()
        self._server.server_close()


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    receiver = Receiver()
    yield receiver
    receiver.close()


def until(is_so: object, sign: WebSign | None = None) -> None:
    end = time.monotonic() + 20
    while not is_so():  # type: ignore[operator]
        assert time.monotonic() < end
        if sign is not None:
            sign.give()
        time.sleep(0.02)


def test_each_sign_is_one_get(receiver: Receiver) -> None:
    with WebSign(f"http://127.0.0.1:{receiver.port}/reef?key=secret") as sign:
        sign.give()
        until(lambda: receiver.asked == ["/reef?key=secret"])
        sign.give()
        until(lambda: len(receiver.asked) == 2)


def test_a_failure_is_told_once_without_the_address_and_its_end_too(caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level("INFO")
    port = free_port()
    with WebSign(f"http://127.0.0.1:{port}/secret") as sign:
        until(lambda: "does not reach 127.0.0.1" in caplog.text, sign)
        for _ in range(5):
            sign.give()
            time.sleep(0.02)
        receiver = Receiver(port)
        receiver.status = 503
        until(lambda: len(receiver.asked) >= 2, sign)
        receiver.status = 200
        until(lambda: "reaches 127.0.0.1 again" in caplog.text, sign)
        receiver.close()
    assert caplog.text.count("does not reach") == 1
    assert "secret" not in caplog.text
