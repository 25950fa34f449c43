"""The sender process: reads messages with their addresses from its input, sends, and answers.

It exists only while there is something to send, for it is the one process that holds apprise. It
touches no database; addresses, which are secret, reach it through the pipe alone. A line of input is a
`Request` as JSON, a line of output an answer; the end of the input ends it. A picture is drawn by yet
another process, if the channel takes one.
"""

from __future__ import annotations

import argparse
import json
import logging
import os
import signal
import sys
import threading
from collections.abc import Sequence
from functools import partial
from typing import Any, BinaryIO

from collector.picture.process import picture_of
from collector.sending.channels import Request, load, send
from collector.sending.outcome import Outcome

# Places where a test has this process die as a power cut would have it: at the start, with a message
# taken and not sent, with a message sent and not answered.
STEPS = ("loading", "taken", "sent")


class _Sender:
    """Sends each request on a thread of its own, so that a dead channel holds up no other."""

    def __init__(self, answers: BinaryIO, stop_at: str | None) -> None:
        self._answers = answers
        self._stop_at = stop_at
        self._lock = threading.Lock()

    def pass_step(self, step: str) -> None:
        if step == self._stop_at:
            os.kill(os.getpid(), signal.SIGKILL)

    def answer(self, content: dict[str, Any]) -> None:
        with self._lock:
            self._answers.write(json.dumps(content).encode() + b"\n")
            self._answers.flush()

    def serve(self, requests: BinaryIO) -> None:
        self.pass_step("loading")
        load()
        self.answer({"ready": True})
        threads = []
        for line in requests:
            request: Request = json.loads(line)
            thread = threading.Thread(
                target=self._send, args=(request,), name=f"send-{request['number']}", daemon=True
            )
            thread.start()
            threads.append(thread)
        for thread in threads:
            thread.join()

    def _send(self, request: Request) -> None:
        self.pass_step("taken")
        sketch = request.get("picture")
        draw = None if sketch is None else partial(picture_of, sketch)
        sent = send(request["url"], request["title"], request["body"], request["priority"], draw)
        if sent.outcome is Outcome.DELIVERED and sent.reason:
            sys.stderr.write(f"request {request['number']}: {sent.reason}\n")
            sys.stderr.flush()
        self.pass_step("sent")
        self.answer({"number": request["number"], "outcome": sent.outcome.value, "reason": sent.reason})


def main(arguments: Sequence[str] | None = None) -> int:
    """Serve until the input ends."""
    parser = argparse.ArgumentParser(
        prog="python -m collector.sending",
        description="Send the messages that the service writes to this program's input.",
        epilog="""Example: echo '{"number": 1, "url": "json://127.0.0.1:8000/", "title": "Test", """
        """"body": "Hello.", "priority": "low"}' | python -m collector.sending""",
    )
    parser.add_argument("--stop-at", choices=STEPS, help="kill this process at that step (for tests)")
    options = parser.parse_args(arguments)
    # A stop of the service reaches its whole process group: what is being sent is still finished, and
    # then the end of the input ends this process.
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, signal.SIG_IGN)
    # Answers keep the output for themselves: what a plug-in prints goes where complaints go.
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    # Warnings of libraries name addresses; without any handler they would be printed.
    logging.getLogger().addHandler(logging.NullHandler())
    try:
        _Sender(answers, options.stop_at).serve(sys.stdin.buffer)
    except BrokenPipeError:
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
