"""Receivers on the loopback address: a web server and a mail server that note what they are given."""

from __future__ import annotations

import email
import email.policy
import json
import socket
import threading
import time
from collections.abc import Callable
from email.message import EmailMessage
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from types import TracebackType
from typing import Self

from aiosmtpd.controller import Controller


def free_port() -> int:
    """A port on which nobody listens now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def wait_for(condition: Callable[[], object], timeout_s: float = 30.0) -> None:
    """Wait until a condition holds; fail if it does not in time."""
    end_s = time.monotonic() + timeout_s
    while not condition():
        assert time.monotonic() < end_s, "what was waited for did not come"
        time.sleep(0.01)


class WebReceiver:
    """Takes JSON posts while open; answers with `statuses` in turn, the last one for ever.

    A body longer than `most_bytes` is refused with 413, Content Too Large (RFC 9110), and counts for none.
    """

    def __init__(
        self, *statuses: int, port: int | None = None, hold_s: float = 0.0, most_bytes: int = 10**9
    ) -> None:
        self.port = port or free_port()
        self.rings: list[tuple[str, str]] = []
        self.attachments: list[list[dict[str, str]]] = []
        self.refused = 0
        self._most_bytes = most_bytes
        self._statuses = list(statuses) or [200]
        self.requests = 0
        self._hold_s = hold_s
        self._lock = threading.Lock()

    @property
    def url(self) -> str:
        return f"json://127.0.0.1:{self.port}/"

    def __enter__(self) -> Self:
        receiver = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                length = int(self.headers["Content-Length"])
                content = json.loads(self.rfile.read(length))
                if length > receiver._most_bytes:
                    receiver.refused += 1
                    self.send_response(413)
                    self.send_header("Content-Length", "0")
                    self.end_headers()
                    return
                with receiver._lock:
                    receiver.requests += 1
                    status = receiver._statuses[0]
                    if len(receiver._statuses) > 1:
                        receiver._statuses.pop(0)
                    if status == 200:
                        receiver.rings.append((content["title"], content["message"]))
                        receiver.attachments.append(content.get("attachments", []))
                time.sleep(receiver._hold_s)
                self.send_response(status)
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, *arguments: object) -> None:
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", self.port), Handler)
        # A sender that was killed leaves its connection broken: that is what is tested, not an error.
        self._server.handle_error = lambda *arguments: None  # type: ignore[method-assign]
        self._thread = threading.Thread(target=self._server.serve_forever, kwargs={"poll_interval": 0.02})
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._server.shutdown()
        self._thread.join()
        self._server.server_close()


class MailReceiver:
    """Takes mail over SMTP while open, but none for `unknown`."""

    def __init__(self, unknown: str = "") -> None:
        self.mails: list[EmailMessage] = []
        self._unknown = unknown

    def __enter__(self) -> Self:
        receiver = self

        class Handler:
            async def handle_RCPT(  # noqa: N802 - the library calls it so
                self, server: object, session: object, envelope: object, address: str, options: object
            ) -> str:
                if address == receiver._unknown:
                    return "550 nobody of that name"
                envelope.rcpt_tos.append(address)
                return "250 known"

            async def handle_DATA(  # noqa: N802 - the library calls it so
                self, server: object, session: object, envelope: object
            ) -> str:
                content = email.message_from_bytes(envelope.content, policy=email.policy.default)
                receiver.mails.append(content)
                return "250 taken"

        self.port = free_port()
        self._controller = Controller(Handler(), hostname="127.0.0.1", port=self.port)
        self._controller.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._controller.stop()

    def url(self, options: str = "") -> str:
        return f"mailto://127.0.0.1:{self.port}/?from=tank@example.org&to=sam@example.org{options}"


class SilentReceiver:
    """Accepts connections and never answers."""

    def __enter__(self) -> Self:
        self._socket = socket.create_server(("127.0.0.1", 0), backlog=64)
        self.port = self._socket.getsockname()[1]
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._socket.close()

    @property
    def url(self) -> str:
        return f"json://127.0.0.1:{self.port}/"
