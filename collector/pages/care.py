"""Care and plan: what is planned by day, calibrations due, and how probes and boards have been doing.

As on the page that shows now, everything is computed here as frozen values that the template writes down.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from collector.configuration import Configuration
from collector.pages.labels import Labels, SeriesLabel
from collector.pages.moments import date_text, day_and_clock, day_text, local, weekday_text
from collector.pages.record import Calibration, LastMessage, LatestReading, Record
from collector.pages.sentence import gap_limit_us
from collector.recurrence import RecurringWork
from collector.wording.times import duration_text
from rules import HOUR_US, Flag, PlannedWork

DAY_US = 24 * HOUR_US
WEEKS = 4
_MONTH_US = 30 * DAY_US
_QUARTER_US = HOUR_US // 4
_SHOWN_BYTES = 300
_CUT_BYTES = 500


@dataclass(frozen=True, slots=True)
class WorkEntry:
    """Work of one day: it `goes_on`, or `is_planned` and can be cancelled; else a rule will bring it."""

    work: PlannedWork
    name: str
    hours: str
    goes_on: bool
    is_planned: bool


@dataclass(frozen=True, slots=True)
class PlanDay:
    """A day that has work."""

    name: str
    works: tuple[WorkEntry, ...]


@dataclass(frozen=True, slots=True)
class CalibrationRow:
    """The last calibration of a probe, or that there is none."""

    label: SeriesLabel
    done: str
    due: str
    is_overdue: bool
    note: str


@dataclass(frozen=True, slots=True)
class ProbeRow:
    """How a series has been doing: `shares` are words and per cent of each quality of the last month."""

    label: SeriesLabel
    seen: str
    is_silent: bool
    shares: tuple[tuple[str, str], ...]
    count: int


@dataclass(frozen=True, slots=True)
class BoardRow:
    """Whether a board is there, and since when."""

    name: str
    is_online: bool
    since: str


@dataclass(frozen=True, slots=True)
class MessageRow:
    """The last message of a topic as it came; `payload` is what of it can be read."""

    topic: str
    age: str
    payload: str
    length: int


@dataclass(frozen=True, slots=True)
class TankCare:
    """One tank's part of the page. `today` is its date, as a form has it."""

    name: str
    title: str
    time_zone: str
    today: str
    days: tuple[PlanDay, ...]
    calibrations: tuple[CalibrationRow, ...]
    probes: tuple[ProbeRow, ...]
    boards: tuple[BoardRow, ...]

    @property
    def overdue(self) -> int:
        """How many probes are overdue."""
        return sum(one.is_overdue for one in self.calibrations)


class CareView:
    """Makes the page; counts a month of readings only now and then."""

    def __init__(self, configuration: Configuration, labels: Labels) -> None:
        self._configuration, self._labels = configuration, labels
        # By series: the quarter of an hour in which they were counted, and the counts.
        self._counts: dict[int, tuple[int, Mapping[int, int]]] = {}

    def look(self, record: Record, now_us: int) -> tuple[TankCare, ...]:
        """Read the record and say how things stand now."""
        latest = {(one.series.tank, one.series.name): one for one in record.latest()}
        works = _coming(record, self._configuration, now_us)
        last = last_calibrations(record)
        boards = record.boards()
        found = []
        for tank in self._labels.tanks:
            zone = self._labels.time_zone(tank)
            series = [one for one in self._labels.all_series if one.tank == tank]
            found.append(
                TankCare(
                    name=tank,
                    title=self._labels.tank_title(tank),
                    time_zone=zone,
                    today=f"{local(now_us, zone):%Y-%m-%d}",
                    days=_by_day([one for one in works if one[0].tank == tank], now_us, zone),
                    calibrations=tuple(
                        _calibration(one, last.get((tank, one.name)), now_us, zone)
                        for one in series
                        if not one.is_two_state and one.quantity != "power"
                    ),
                    probes=tuple(
                        self._probe(record, one, latest.get((tank, one.name)), now_us, zone) for one in series
                    ),
                    boards=tuple(
                        BoardRow(one.name, one.is_online, day_and_clock(one.since_us, now_us, zone))
                        for one in boards
                        if one.tank == tank
                    ),
                )
            )
        return tuple(found)

    def _probe(
        self, record: Record, label: SeriesLabel, latest: LatestReading | None, now_us: int, zone: str
    ) -> ProbeRow:
        if latest is None:
            return ProbeRow(label, "never", True, (), 0)
        counts = self._month(record, latest.series.id, now_us)
        total = sum(counts.values())
        shares = [
            (flag.name.lower().replace("_", " "), _per_cent(counts[flag], total))
            for flag in (Flag.PASS, Flag.SUSPECT, Flag.FAIL, Flag.MISSING, Flag.NOT_EVALUATED)
            if counts.get(flag)
        ]
        age_us = max(0, now_us - latest.observed_us)
        seen = day_and_clock(latest.observed_us, now_us, zone)
        return ProbeRow(label, seen, age_us > gap_limit_us(label), tuple(shares), total)

    def _month(self, record: Record, series: int, now_us: int) -> Mapping[int, int]:
        """Readings of each flag over the last month; a quarter of an hour old at most."""
        moment = now_us // _QUARTER_US
        kept = self._counts.get(series)
        if kept is None or kept[0] != moment:
            kept = moment, record.flag_counts(series, now_us - _MONTH_US, now_us + 1)
            self._counts[series] = kept
        return kept[1]


def last_calibrations(record: Record) -> Mapping[tuple[str, str], Calibration]:
    """The last calibration by tank and series."""
    last: dict[tuple[str, str], Calibration] = {}
    for one in record.calibrations():
        last.setdefault((one.tank, one.series), one)
    return last


def overdue_text(
    last: Mapping[tuple[str, str], Calibration], labels: Sequence[SeriesLabel], now_us: int, zone: str
) -> str:
    """Which series of one tank are to be calibrated, and for how long already; empty if none is."""
    found = []
    for label in labels:
        days = _days_left(last.get((label.tank, label.name)), now_us, zone)
        if days is not None and days < 0:
            found.append(f"{label.title} by {_days(-days)}")
    return f"Calibration overdue: {', '.join(found)}." if found else ""


def message_rows(messages: Sequence[LastMessage], now_us: int) -> tuple[MessageRow, ...]:
    """The last messages, each with what of it can be read."""
    return tuple(
        MessageRow(
            _readable(one.topic),
            f"{duration_text(max(0, now_us - one.received_us))} ago",
            _text(one.payload),
            one.length,
        )
        for one in messages
    )


def _coming(record: Record, configuration: Configuration, now_us: int) -> list[tuple[PlannedWork, bool]]:
    """Works that go on or come within the next weeks, and whether they are planned already."""
    known = [work for work in record.known_works() if work.to_us > now_us]
    found = [(work, True) for work in known]
    recurring: list[RecurringWork] = [*configuration.works, *record.imported_works()]
    # Up to a day ahead they are planned: what is not there then was cancelled.
    for one in recurring:
        for work in one.between(now_us + DAY_US, now_us + WEEKS * 7 * DAY_US):
            if work not in known:
                found.append((work, False))
    return sorted(found, key=lambda one: (one[0].from_us, one[0].kind))


def _by_day(works: Sequence[tuple[PlannedWork, bool]], now_us: int, zone: str) -> tuple[PlanDay, ...]:
    today = local(now_us, zone).date()
    days: dict[str, list[WorkEntry]] = {}
    for work, is_planned in works:
        begin, end = local(work.from_us, zone), local(work.to_us, zone)
        ahead = (begin.date() - today).days
        name = _day_name(begin, ahead)
        hours = f"{begin:%H:%M} to {end:%H:%M}"
        if ahead < 0:
            hours = f"since {day_and_clock(work.from_us, now_us, zone)}, to {end:%H:%M}"
        goes_on = work.from_us <= now_us
        kind = work.kind.replace("_", " ").capitalize()
        days.setdefault(name, []).append(WorkEntry(work, kind, hours, goes_on, is_planned))
    return tuple(PlanDay(name, tuple(entries)) for name, entries in days.items())


def _day_name(at: datetime, ahead: int) -> str:
    date = f"{weekday_text(at)} {day_text(at)}"
    return {0: f"Today, {date}", 1: f"Tomorrow, {date}"}.get(max(0, ahead), date)


def _calibration(label: SeriesLabel, last: Calibration | None, now_us: int, zone: str) -> CalibrationRow:
    if last is None:
        return CalibrationRow(label, "none noted", "", False, "")
    done = date_text(local(last.done_us, zone))
    if last.due_us is None:
        return CalibrationRow(label, done, "not planned", False, last.note)
    days = _days_left(last, now_us, zone) or 0
    when = date_text(local(last.due_us, zone))
    if days < 0:
        due = f"overdue by {_days(-days)}, since {when}"
    else:
        due = f"today, {when}" if days == 0 else f"in {_days(days)}, {when}"
    return CalibrationRow(label, done, due, days < 0, last.note)


def _days_left(last: Calibration | None, now_us: int, zone: str) -> int | None:
    """Days until the next one is due, by the tank's calendar; None if none is planned."""
    if last is None or last.due_us is None:
        return None
    return (local(last.due_us, zone).date() - local(now_us, zone).date()).days


def _days(number: int) -> str:
    return "1 day" if number == 1 else f"{number} days"


def _per_cent(part: int, whole: int) -> str:
    """Never 0 where there is some, never 100 where not all."""
    if part == whole:
        return "100 %"
    share = min(max(100 * part / whole, 0.01), 99.99)
    return f"{share:.2f} %" if share < 0.1 or share > 99.9 else f"{share:.1f} %"


def _text(payload: bytes) -> str:
    """What can be read of it, else its bytes in hexadecimal."""
    # Where it was cut, perhaps within a character.
    if len(payload) >= _CUT_BYTES:
        payload = payload[:_SHOWN_BYTES].decode(errors="ignore").encode()
    try:
        text = payload.decode()
    except UnicodeDecodeError:
        return payload[: _SHOWN_BYTES // 3].hex(" ")
    return _readable(text)[:_SHOWN_BYTES]


def _readable(text: str) -> str:
    return "".join(sign if sign.isprintable() else "\N{MIDDLE DOT}" for sign in text)
