"""A process that delivers and can be made to die: `service_process.py STORE URL... [--die-at STEP] [--once]`.

Its steps are what it does around each durable note: "before start 1" and "after start 1" of the first try,
"before end 1" and "after end 1", then those of the second one, and so on; STEP is one of them. With `--once`
it ends when nothing waits any more, and prints its steps and what it held: its modules, children, memory.
"""

from __future__ import annotations

import argparse
import json
import os
import signal
import sys
import time
from pathlib import Path
from typing import Any

import psutil

from collector.clock import Clock
from collector.delivery import DeliveryWorker, channel_names
from collector.notices import ChannelReports
from collector.store import Outbox
from collector.telling import people_of
from tests.delivery.post import configuration


class DyingOutbox:
    """The store's outbox, around whose records the process may end."""

    def __init__(self, outbox: Outbox, die_at: str | None) -> None:
        self._outbox = outbox
        self._die_at = die_at
        self.steps: list[str] = []

    def _pass(self, kind: str) -> None:
        number = 1 + sum(step.startswith(kind) for step in self.steps)
        self.steps.append(f"{kind} {number}")
        if self.steps[-1] == self._die_at:
            os.kill(os.getpid(), signal.SIGKILL)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._outbox, name)

    def record_try_started(self, *arguments: Any) -> int:
        self._pass("before start")
        number = self._outbox.record_try_started(*arguments)
        self._pass("after start")
        return number

    def record_try_ended(self, *arguments: Any, **options: Any) -> None:
        self._pass("before end")
        self._outbox.record_try_ended(*arguments, **options)
        self._pass("after end")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("store", type=Path)
    parser.add_argument("urls", nargs="+")
    parser.add_argument("--die-at")
    parser.add_argument("--once", action="store_true")
    options = parser.parse_args()
    process = psutil.Process()
    with Outbox(options.store) as outbox:
        dying = DyingOutbox(outbox, options.die_at)
        setup = configuration(*options.urls)
        reports = ChannelReports(people_of(setup, channel_names), "UTC")
        before = process.memory_full_info().pss
        with DeliveryWorker(setup, dying, clock=Clock(rate=20.0), report=reports, linger_s=0.2) as worker:
            most_children = 0
            while not options.once or outbox.next_due_us() is not None or process.children():
                most_children = max(most_children, len(process.children()))
                time.sleep(0.01)
            worker.wake()
            held = {
                "steps": dying.steps,
                "most_children": most_children,
                "children": len(process.children()),
                "apprise": "apprise" in sys.modules,
                "grown_bytes": process.memory_full_info().pss - before,
            }
    sys.stdout.write(json.dumps(held))


if __name__ == "__main__":
    main()
