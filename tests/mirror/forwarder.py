"""A way to a server that is slow: a request goes on only after as long as its body takes at a given rate."""

from __future__ import annotations

import http.client
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Self


class Forwarder:
    """Passes posts on to a port of this machine; notes the sizes of their bodies."""

    def __init__(self, port: int, bytes_per_s: float) -> None:
        self.sizes: list[int] = []
        forwarder = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                forwarder.sizes.append(len(body))
                time.sleep(len(body) / bytes_per_s)
                there = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
                there.request("POST", self.path, body, {"Content-Type": self.headers["Content-Type"]})
                answer = there.getresponse()
                content = answer.read()
                there.close()
                try:
                    self.send_response(answer.status)
                    if answer.status != 204:
                        self.send_header("Content-Length", str(len(content)))
                    self.end_headers()
                    self.wfile.write(content)
                except OSError:
                    pass  # nobody waits for it any more

            def log_message(self, *_args: object) -> None: ...

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.address = f"http://127.0.0.1:{self._server.server_port}"
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.01,))

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *exc_info: object) -> None:
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()
