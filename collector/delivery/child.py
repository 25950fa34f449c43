"""The service's side of the sender process: starts it, hands it messages, hears its answers and its end."""

from __future__ import annotations

import json
import logging
import os
import subprocess
import sys
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import IO, TypeAlias

from collector.messages import Outcome
from collector.sending.channels import Request, Sent
from collector.sending.masking import Mask

logger = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Ready:
    """The process has loaded what it needs."""

    process: SenderProcess


@dataclass(frozen=True, slots=True)
class Answer:
    """What became of the request of that number."""

    process: SenderProcess
    number: int
    sent: Sent


@dataclass(frozen=True, slots=True)
class Gone:
    """The process has ended, by itself or not; nothing follows."""

    process: SenderProcess
    status: int


Heard: TypeAlias = Ready | Answer | Gone


def sender_command() -> Sequence[str]:
    """The command that starts a sender process."""
    return (sys.executable, "-m", "collector.sending")


class SenderProcess:
    """One run of the sender process.

    Parameters
    ----------
    command
        What to start; it holds no secret.
    hear
        Called with what the process says, on a thread of this object's own.
    mask
        Applied to whatever the process complains about before it is logged.
    environ
        Its environment; our own settings are left out, for they may hold secrets.
    """

    def __init__(
        self,
        command: Sequence[str],
        hear: Callable[[Heard], object],
        mask: Mask,
        environ: Mapping[str, str] = os.environ,
    ) -> None:
        self._hear = hear
        self._mask = mask
        kept = {name: value for name, value in environ.items() if not name.upper().startswith("BRINEBELL")}
        # A session of its own: Ctrl-C is for the service, which then lets this process finish.
        self._process = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env=kept,
            start_new_session=True,
        )
        self._threads = [
            threading.Thread(target=self._listen, name="sender-answers", daemon=True),
            threading.Thread(target=self._complain, name="sender-complaints", daemon=True),
        ]
        for thread in self._threads:
            thread.start()

    @property
    def pid(self) -> int:
        """Its process id."""
        return self._process.pid

    def send(self, request: Request) -> None:
        """Hand over a message; if the process is gone, `Gone` is heard, and nothing was sent."""
        try:
            _pipe(self._process.stdin).write(json.dumps(request).encode() + b"\n")
            _pipe(self._process.stdin).flush()
        except (BrokenPipeError, ValueError):
            logger.debug("the sender process was gone before message %s", request["number"])

    def finish(self) -> None:
        """Let it finish what it has and end."""
        try:
            _pipe(self._process.stdin).close()
        except BrokenPipeError:
            logger.debug("the sender process was gone already")

    def kill(self) -> None:
        """End it at once."""
        self._process.kill()

    def join(self, timeout_s: float) -> bool:
        """Wait for its end and for the last of what it said; return whether it has ended."""
        try:
            self._process.wait(timeout_s)
        except subprocess.TimeoutExpired:
            return False
        for thread in self._threads:
            if thread is not threading.current_thread():
                thread.join()
        return True

    def _listen(self) -> None:
        with _pipe(self._process.stdout) as answers:
            for line in answers:
                if (heard := self._understand(line)) is not None:
                    self._hear(heard)
        self._hear(Gone(self, self._process.wait()))

    def _understand(self, line: bytes) -> Heard | None:
        try:
            content = json.loads(line)
            if content.get("ready"):
                return Ready(self)
            sent = Sent(Outcome(content["outcome"]), str(content["reason"]))
            return Answer(self, int(content["number"]), sent)
        except (ValueError, KeyError, TypeError, AttributeError):
            # A line cut off by its death: the message counts as one of unknown end.
            logger.warning("the sender process gave an answer that cannot be read")
            return None

    def _complain(self) -> None:
        with _pipe(self._process.stderr) as complaints:
            for line in complaints:
                logger.warning("sender process: %s", self._mask(line.decode(errors="replace").rstrip()))


def _pipe(pipe: IO[bytes] | None) -> IO[bytes]:
    if pipe is None:
        raise AssertionError("the pipe was asked for when the process was started")
    return pipe
