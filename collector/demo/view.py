"""What the demo shows in a terminal: calm lines of plain text, the same on a screen and in a file."""

from __future__ import annotations

import sys
import textwrap
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TextIO
from zoneinfo import ZoneInfo

from collector.demo.phone import Ring
from collector.store import IncidentRecord
from rules import MICROSECONDS

# What a line of text on a phone holds, about; the first line has its own limit and is never broken.
_PHONE_WIDTH = 60


@dataclass(frozen=True, slots=True)
class Column:
    """How one series is shown in a line of readings: its name there, its unit, its decimals."""

    series: str
    title: str
    unit: str
    decimals: int


COLUMNS = (
    Column("temperature", "water", " degC", 2),
    Column("heater_power", "heater", " W", 0),
    Column("ph", "pH", "", 2),
    Column("practical_salinity", "salinity", "", 2),
    Column("reservoir", "reservoir", " L", 1),
    Column("room_temperature", "room", " degC", 1),
)


class View:
    """Lines in the order in which things happen, from any thread.

    Parameters
    ----------
    time_zone
        The tank's: what a person reads is the time on the wall beside it.
    out
        Where lines go.
    columns
        What a line of readings shows.
    on_closed
        Called once if nobody reads any more (the reader of a pipe has seen enough); nothing is said then.
    """

    def __init__(
        self,
        time_zone: str,
        *,
        out: TextIO | None = None,
        columns: Sequence[Column] = COLUMNS,
        on_closed: Callable[[], None] = lambda: None,
    ) -> None:
        self._zone = ZoneInfo(time_zone)
        self._out = sys.stdout if out is None else out
        self._columns = columns
        self._on_closed = on_closed
        self._is_closed = False
        self._lock = threading.Lock()

    def say(self, text: str = "") -> None:
        """One line, or several, as they are."""
        with self._lock:
            if self._is_closed:
                return
            try:
                self._out.write(f"{text}\n")
                self._out.flush()
            except BrokenPipeError:
                self._is_closed = True
                self._on_closed()

    def readings(self, time_us: int, values: Mapping[str, float]) -> None:
        """One line of readings as the store has them."""
        parts = [
            f"{column.title} {values[column.series]:.{column.decimals}f}{column.unit}"
            for column in self._columns
            if column.series in values
        ]
        self.say(f"{self.time(time_us)}  " + "   ".join(parts))

    def ring(self, ring: Ring) -> None:
        """The phone rings, or shows something without a sound: what stands on it."""
        head = "The phone rings:" if ring.is_loud else "On the phone, without a sound:"
        lines = [ring.title]
        for line in ring.text.splitlines():
            lines += textwrap.wrap(line, _PHONE_WIDTH)
        self.say("\n".join(["", f"  {head}", *(f"  | {line}" for line in lines), ""]))

    def incident(self, record: IncidentRecord) -> None:
        """An incident as it stands in the incident list."""
        incident = record.incident
        ended = "" if incident.ended_at_us is None else f", ended {self.time(incident.ended_at_us)}"
        self.say(
            f"  Incident {incident.number} in the list: {incident.cause} ({', '.join(incident.series)}), "
            f"{incident.priority}, first seen {self.time(incident.first_evidence_us)}, "
            f"alarmed {self.time(incident.alarmed_at_us)}{ended}"
        )

    def time(self, time_us: int) -> str:
        """Hours and minutes on the wall beside the tank."""
        return datetime.fromtimestamp(time_us / MICROSECONDS, UTC).astimezone(self._zone).strftime("%H:%M")
