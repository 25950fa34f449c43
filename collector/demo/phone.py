"""A stand-in for the phone: it takes what is delivered to it over HTTP and hands each ring on.

The service delivers to it as to any other receiver, so the demo's ring has gone the whole way.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Callable
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from types import TracebackType
from typing import Any, Self

# No message of ours comes near this; more is not a ring.
_LARGEST = 64 * 1024


@dataclass(frozen=True, slots=True)
class Ring:
    """One message as the phone shows it: the first line, what stands below, and whether it made a sound."""

    title: str
    text: str
    is_loud: bool = True


class Phone:
    """A receiver on the loopback address, from `with` to the end of it.

    Parameters
    ----------
    on_ring
        Called for each message, on a thread of the receiver.
    """

    def __init__(self, on_ring: Callable[[Ring], None]) -> None:
        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                ring = _read(self)
                self.send_response(200 if ring else 400)
                self.send_header("Content-Length", "0")
                self.end_headers()
                if ring:
                    on_ring(ring)

            def log_message(self, format: str, *args: Any) -> None:  # noqa: A002 - ditto
                """Say nothing: the ring itself is what is shown."""

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._thread = threading.Thread(
            target=self._server.serve_forever, kwargs={"poll_interval": 0.1}, name="phone"
        )

    @property
    def url(self) -> str:
        """Where to deliver: an apprise URL for a JSON post."""
        return f"json://127.0.0.1:{self._server.server_port}/phone"

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._server.shutdown()
        self._thread.join()
        self._server.server_close()


def _read(request: BaseHTTPRequestHandler) -> Ring | None:
    try:
        length = int(request.headers.get("Content-Length", "0"))
        body = json.loads(request.rfile.read(min(length, _LARGEST)))
        # What apprise calls "info" is of low priority: it can wait until somebody looks.
        return Ring(str(body.get("title", "")), str(body["message"]), body.get("type") != "info")
    except (ValueError, KeyError, AttributeError, TypeError):
        return None
