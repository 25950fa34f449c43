"""A night in a real store: readings, incidents, and what is usual."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import pi, sin
from pathlib import Path

from collector.configuration import Configuration
from collector.messages import Message, NewMessage
from collector.picture.sketch import Sketch
from collector.store import Commit, IncidentRecord, Row, Store, StoreReader
from rules import Flag, Incident, LimitAlarm, Priority, WeekProfile
from tests.wording.example import HOUR, MINUTE, NOW, configuration

ZONE = "Europe/Madrid"
STEP = 30_000_000
# A little after the alarm, when the message is sent.
SENT = NOW + 2 * MINUTE


@dataclass(frozen=True)
class Standing:
    """What the night's fit left."""

    fitted: WeekProfile


def day(at_us: int) -> float:
    """The usual temperature: a swing of 0.4 °C a day."""
    return 25.5 + 0.2 * sin(2 * pi * (at_us % (24 * HOUR)) / (24 * HOUR))


def profile(half_width: float = 0.2) -> WeekProfile:
    """A band about 25.5."""
    return WeekProfile(ZONE, ((25.5,) * 96,), (half_width,) * 96, 0.97, "daily", 0.3, 20, NOW)


def with_danger_lines(setup: Configuration, quantity: str, low: float, high: float) -> Configuration:
    """The same with danger lines of one more series."""
    index = setup.series_index("tank0", quantity)
    lines = tuple(
        LimitAlarm(setpoint, is_high, True, 0.1, MINUTE, MINUTE, Priority.URGENT)
        for setpoint, is_high in ((low, False), (high, True))
    )
    series = [*setup.engine.series]
    series[index] = replace(series[index], limit_alarms=lines)
    return replace(setup, engine=replace(setup.engine, series=tuple(series)))


def write(
    folder: Path,
    incident: Incident,
    values: Callable[[int], float | None],
    *messages: NewMessage,
    flag: Callable[[int], Flag] = lambda _: Flag.PASS,
    setup: Configuration | None = None,
    hours: int = 14,
) -> Path:
    """A store with that many hours of the incident's first series, a reading every half minute."""
    path = folder / "brinebell.sqlite"
    setup = setup or configuration()
    index = setup.series_index(incident.tank, incident.series[0])
    with Store(path) as store:
        store.register(setup.series)
        rows: list[Row] = [
            (index, at_us, value, int(flag(at_us)), 0, 50, 0, b"")
            for at_us in range(NOW - hours * HOUR, SENT, STEP)
            if (value := values(at_us)) is not None
        ]
        records = [IncidentRecord(incident, "title", "body")]
        store.commit(Commit(SENT, SENT, rows=rows, incidents=records, messages=messages))
    return path


def reader(path: Path) -> StoreReader:
    """The store, read only."""
    return StoreReader(path)


def edges(sketch: Sketch) -> tuple[float, float]:
    """First and last instant of what was measured, in hours since the left edge."""
    return sketch.lines[0][0].at_s / 3600, sketch.lines[-1][-1].at_s / 3600


def message(kind: str = "opened", incident: int | None = 7, *, may_repeat: bool = False) -> Message:
    """A message in the outbox."""
    words = ("title", "body", Priority.URGENT)
    return Message(1, incident, kind, "sam", "json", SENT, SENT, *words, tries=0, may_repeat=may_repeat)
