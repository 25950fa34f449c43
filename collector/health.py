"""How the service is, for machines: what `brinebell check` tells people, as seen from inside, in one value.

It is looked at by the loop of the service, so that one that hangs gives no new one, and the page reads it.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from typing import Any, Protocol

import orjson

from collector.checks import Finding, Verdict
from collector.checks.boards import check_boards
from collector.checks.channels import check_channels
from collector.checks.clock import check_clock
from collector.checks.heat import check_heat
from collector.checks.store import check_room
from collector.checks.usual import check_usual
from collector.configuration import Configuration
from collector.intake import LineState
from collector.wording.times import moment_text
from rules import MICROSECONDS

_LOG = logging.getLogger(__name__)

# Who reads it may think the loop dead after three that did not come.
EVERY_S = 30.0
_WORST = (Verdict.WRONG, Verdict.NOTE, Verdict.WELL)


class Line(Protocol):
    """What is needed of the session with the broker."""

    def sign(self, payload: bytes, name: str = ...) -> bool:
        """Publish under the service's own topics; False where no connection takes it."""
        ...


@dataclass(frozen=True, slots=True)
class Health:
    """What was found, and when by the service's clock; `is_storing` says whether what comes is stored."""

    at_us: int
    is_storing: bool
    findings: tuple[Finding, ...]

    @property
    def verdict(self) -> Verdict:
        """The worst of all."""
        found = {one.verdict for one in self.findings}
        return next((one for one in _WORST if one in found), Verdict.WELL)

    def as_json(self) -> dict[str, Any]:
        """Plain values; keys are part of what Brinebell promises to scripts."""
        at = datetime.fromtimestamp(self.at_us // MICROSECONDS, UTC)
        return {
            "at": f"{at:%Y-%m-%dT%H:%M:%SZ}",
            "verdict": self.verdict,
            "storing": self.is_storing,
            "findings": [asdict(one) for one in self.findings],
        }


class HealthWatch:
    """Looks now and then, tells the broker what changed, and keeps the last look for the page.

    Parameters
    ----------
    configuration
        What is looked at.
    now_us
        The clock of the service.
    broker, is_refused
        How it stands with its broker, and whether its store refuses what comes.
    """

    def __init__(
        self,
        configuration: Configuration,
        now_us: Callable[[], int],
        broker: Callable[[], LineState],
        is_refused: Callable[[], bool],
        *,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._configuration, self._now_us = configuration, now_us
        self._broker, self._is_refused = broker, is_refused
        self._monotonic = monotonic
        self._due_s = 0.0
        self._seen: tuple[object, ...] = ()
        self._told: tuple[Finding, ...] | None = None
        self._last: tuple[float, Health] | None = None

    def turn(self, line: Line) -> None:
        """Look if it is due, or if broker or store are not as they were; for the thread of the loop."""
        seen, now_s = (self._broker(), self._is_refused()), self._monotonic()
        if now_s < self._due_s and seen == self._seen:
            return
        if seen != self._seen:
            # A broker that comes back may have forgotten it.
            self._told = None
        self._due_s, self._seen = now_s + EVERY_S, seen
        health = Health(self._now_us(), not self._is_refused(), tuple(self._findings()))
        self._last = (now_s, health)
        if health.findings != self._told and line.sign(orjson.dumps(health.as_json()), "health"):
            self._told = health.findings

    def last(self) -> dict[str, Any] | None:
        """The last look as plain values, from any thread; None if the loop has not looked for too long."""
        if self._last is None or self._monotonic() - self._last[0] > 3 * EVERY_S:
            return None
        return self._last[1].as_json()

    def _findings(self) -> Iterator[Finding]:
        yield _broker_finding(self._configuration, self._broker())
        yield from check_clock(self._configuration)
        yield from self._store()
        yield from check_boards(self._configuration, self._now_us())
        yield from check_channels(self._configuration)
        yield from check_usual(self._configuration)
        yield from check_heat(self._configuration)

    def _store(self) -> Sequence[Finding]:
        found = [check_room(self._configuration.store.folder)]
        if self._is_refused():
            text = (
                "the store refuses what comes: it is kept in memory and at the broker, and rung all the same"
            )
            mend = "look at the disk: is it full, worn out or read-only?"
            found.insert(0, Finding("store", Verdict.WRONG, text, mend))
        return found


def _broker_finding(configuration: Configuration, state: LineState) -> Finding:
    where = f"{configuration.mqtt.host}:{configuration.mqtt.port}"
    if state.is_connected:
        return Finding("broker", Verdict.WELL, f"{where} is reached")
    since = ""
    if state.since_us is not None and configuration.tanks:
        since = f" since {moment_text(state.since_us, configuration.tanks[0].rules.time_zone)}"
    return Finding(
        "broker",
        Verdict.WRONG,
        f"{where} is not reached{since}: nothing is heard of the tank",
        "start the broker; `brinebell check` says why it cannot be reached",
    )
