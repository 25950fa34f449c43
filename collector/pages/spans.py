"""The stretch of time that a page shows: read from its address, and the addresses of those beside it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import NamedTuple
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from starlette.exceptions import HTTPException

from collector.pages.moments import full, local
from rules import HOUR_US, MICROSECONDS

_MINUTE_US = HOUR_US // 60
LEAST_US = 5 * _MINUTE_US
MOST_US = 10 * 366 * 24 * HOUR_US
# No tank was watched before, and no clock of a board is so far ahead.
_FIRST_US, _LAST_US = 0, 4_102_444_800 * MICROSECONDS


class Link(NamedTuple):
    """A stretch beside the one that is shown; `key` is what the script of charts listens to."""

    key: str
    words: str
    address: str


class Span(NamedTuple):
    """Instants from one to another, in the time zone of a tank."""

    start_us: int
    end_us: int
    time_zone: str

    @property
    def width_us(self) -> int:
        """How long it is."""
        return self.end_us - self.start_us

    @property
    def words(self) -> str:
        """As a person reads it."""
        return f"{full(self.start_us, self.time_zone)} to {full(self.end_us, self.time_zone)}"

    @property
    def start_local(self) -> str:
        """Its beginning, as a field of a form holds it."""
        return local_text(self.start_us, self.time_zone)

    @property
    def end_local(self) -> str:
        """Its end, as a field of a form holds it."""
        return local_text(self.end_us, self.time_zone)

    @property
    def start_ms(self) -> int:
        """Its beginning, as scripts count."""
        return self.start_us // 1000

    @property
    def end_ms(self) -> int:
        """Its end, as scripts count."""
        return self.end_us // 1000

    def moved(self, by_us: int) -> Span:
        """As long, earlier or later."""
        return self._replace(start_us=self.start_us + by_us, end_us=self.end_us + by_us)

    def scaled(self, factor: float) -> Span:
        """As much longer or shorter, about its middle."""
        half_us = round(min(max(self.width_us * factor, LEAST_US), MOST_US) / 2)
        middle_us = (self.start_us + self.end_us) // 2
        return self._replace(start_us=middle_us - half_us, end_us=middle_us + half_us)

    def links(self, others: Mapping[str, str], whole: str | None = None) -> tuple[Link, ...]:
        """Addresses of the stretches beside it.

        Parameters
        ----------
        others
            What else the address says.
        whole
            The address without a stretch, where there is one to go back to.
        """
        half_us = self.width_us // 2
        beside = (
            ("earlier", "Earlier", self.moved(-half_us)),
            ("later", "Later", self.moved(half_us)),
            ("in", "Zoom in", self.scaled(0.5)),
            ("out", "Zoom out", self.scaled(2.0)),
        )
        found = [Link(key, words, f"?{urlencode({**others, **one.query()})}") for key, words, one in beside]
        if whole is not None:
            found.append(Link("whole", "All of it", whole))
        return tuple(found)

    def query(self) -> dict[str, str]:
        """How an address says it."""
        return {"from": _utc_text(self.start_us), "to": _utc_text(self.end_us)}


def span_of(query: Mapping[str, str], time_zone: str) -> Span | None:
    """The stretch that an address names; None where it names none.

    Raises
    ------
    HTTPException
        400 that names key and value if it is none.
    """
    texts = {key: query.get(key, "").strip() for key in ("from", "to")}
    if not any(texts.values()):
        return None
    start_us, end_us = (_instant(key, text, time_zone) for key, text in texts.items())
    if not LEAST_US <= end_us - start_us <= MOST_US:
        raise HTTPException(
            400, f"from={texts['from'][:40]} to={texts['to'][:40]} is no stretch of 5 minutes to 10 years."
        )
    return Span(start_us, end_us, time_zone)


def instant_of(key: str, text: str, time_zone: str) -> int | None:
    """An instant of a field of a form; None for an empty one, 400 for what is none."""
    return _instant(key, text.strip(), time_zone) if text.strip() else None


def local_text(at_us: int, time_zone: str) -> str:
    """Wall time as a field of a form holds it, to the minute."""
    return f"{local(at_us, time_zone):%Y-%m-%dT%H:%M}"


def _instant(key: str, text: str, time_zone: str) -> int:
    try:
        at = datetime.fromisoformat(text)
        if at.tzinfo is None:
            at = at.replace(tzinfo=ZoneInfo(time_zone))
        at_us = round(at.timestamp()) * MICROSECONDS
    except (ValueError, OverflowError, OSError):
        at_us = -1
    if not _FIRST_US <= at_us <= _LAST_US:
        raise HTTPException(400, f"{key}={text[:40]} is no time such as 2026-03-07T02:10.")
    return at_us


def _utc_text(at_us: int) -> str:
    return f"{local(min(max(at_us, _FIRST_US), _LAST_US), 'UTC'):%Y-%m-%dT%H:%M:%SZ}"
