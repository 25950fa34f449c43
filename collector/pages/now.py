"""What the tank is doing now: one sentence, a row per series, works, boards and broker.

Everything that a person or a script is told is computed here once, as frozen values; the templates and
`now_json` only write it down.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from zlib import crc32

from collector.configuration import Configuration
from collector.pages.care import last_calibrations, overdue_text
from collector.pages.day import DAY_US, NO_DAY, Day, day_of
from collector.pages.equipment import EquipmentNow, Power, equipment_now, reservoir_text
from collector.pages.labels import Labels, SeriesLabel
from collector.pages.moments import day_and_clock, full
from collector.pages.record import BrokerState, Buckets, IncidentRecord, LatestReading, Record, Standing
from collector.pages.sentence import Sentence, SeriesNow, broker_text, gap_limit_us, sentence_for_tank
from collector.pages.trend import NO_TREND, Trend, trend_over_last_hour
from collector.readings import Mark
from collector.wording.texts import shown_name
from collector.wording.times import duration_text
from collector.wording.usual import usual_text
from collector.wording.works import quiet_text, work_text
from rules import HOUR_US, Flag, Incident, Learning, PlannedWork, PoorFit, Suppressed, WeekProfile, roles_of

_QUARTER_US = HOUR_US // 4
# Beyond two days the record answers from quarter-hour rollups, which is 96 rows a day instead of
# thousands: the small line shows no more than that.
_LINE_RANGE_US = 49 * HOUR_US
# So many days tell how fast the reservoir empties.
_RESERVOIR_US = 7 * DAY_US
# How often the small lines are drawn anew, in tank time: they are the heaviest part of a live update.
_LINE_AGE_US = 5 * HOUR_US // 60
# The sentence looks this far back for the incident that ended last.
_INCIDENTS_LOOKED_AT = 100

_NOTHING: Mapping[int, Standing] = MappingProxyType({})

QUALITY_WORDS: dict[int, str] = {
    Flag.PASS: "pass",
    Flag.NOT_EVALUATED: "not evaluated",
    Flag.SUSPECT: "suspect",
    Flag.FAIL: "fail",
    Flag.MISSING: "missing",
}


@dataclass(frozen=True, slots=True)
class Row:
    """One series: what its row says, and the same in numbers for scripts.

    `day` is the last day, small; `usual` says what is usual at this hour and where the value lies,
    `standing` is the fit that says so; `incidents` are those that concern it.
    """

    label: SeriesLabel
    value: float | None
    value_text: str
    trend: Trend
    day: Day
    flag: int | None
    quality: str
    observed_us: int | None
    age: str
    is_silent: bool
    incidents: tuple[Incident, ...]
    usual: str
    standing: Standing | None

    @property
    def is_learning(self) -> bool:
        """Whether it is not known yet what is usual."""
        fitted = None if self.standing is None else self.standing.fitted
        return bool(self.usual) and (fitted is None or isinstance(fitted, Learning))

    @property
    def is_doubtful(self) -> bool:
        """Whether the newest reading is not to be trusted as it is."""
        return self.flag in (Flag.SUSPECT, Flag.FAIL, Flag.MISSING)


@dataclass(frozen=True, slots=True)
class BoardNow:
    """A board: its name, whether it is connected, and since when in words."""

    name: str
    is_online: bool
    since_us: int
    since: str


@dataclass(frozen=True, slots=True)
class WorkNow:
    """Planned work that goes on, is to come or whose water still settles; `quiet` while it goes on."""

    work: PlannedWork
    text: str
    quiet: str


@dataclass(frozen=True, slots=True)
class TankNow:
    """One tank's part of the page."""

    name: str
    title: str
    time_zone: str
    sentence: Sentence
    lasting: tuple[IncidentRecord, ...]
    rows: tuple[Row, ...]
    boards: tuple[BoardNow, ...]
    works: tuple[WorkNow, ...]
    suppressed: str
    equipment: tuple[EquipmentNow, ...]
    reservoir: str
    overdue: str

    @property
    def is_learning(self) -> bool:
        """Whether there are series of which it is not known yet what is usual."""
        return any(row.is_learning for row in self.rows)

    @property
    def has_work(self) -> bool:
        """Whether work goes on now."""
        return any(one.quiet for one in self.works)


@dataclass(frozen=True, slots=True)
class Now:
    """The whole page: `sentence` tells of the worst tank, by name if there are several."""

    at_us: int
    at: str
    sentence: str
    incident: int | None
    tanks: tuple[TankNow, ...]
    broker: str
    broker_state: BrokerState | None

    @property
    def shape(self) -> str:
        """Changes when the page needs more than new texts: an incident came or went, a row is marked."""
        parts = [
            (tank.name, [(one.incident.number, one.incident.priority, one.title) for one in tank.lasting])
            for tank in self.tanks
        ]
        marks = [
            (row.label.key, row.is_silent, row.is_doubtful, bool(row.day.line))
            for tank in self.tanks
            for row in tank.rows
        ]
        boards = [(board.name, board.is_online) for tank in self.tanks for board in tank.boards]
        works = [
            (tank.works, tank.suppressed, bool(tank.reservoir), [one.has_failed for one in tank.equipment])
            for tank in self.tanks
        ]
        overdue = [tank.overdue for tank in self.tanks]
        return f"{crc32(repr((parts, marks, boards, works, overdue)).encode()):08x}"


class NowView:
    """Makes `Now` from the record; keeps the small lines for a while."""

    def __init__(self, configuration: Configuration) -> None:
        self.labels = Labels(configuration)
        self._days: dict[str, tuple[int, Day]] = {}
        self._reservoirs: dict[str, tuple[int, Buckets]] = {}
        series = configuration.engine.series
        self._equipment = {
            tank.name: (tank.rules.equipment, roles_of(tank.rules, series)) for tank in configuration.tanks
        }

    def look(
        self,
        record: Record,
        now_us: int,
        broker: BrokerState | None,
        usual: Mapping[int, Standing] = _NOTHING,
        suppressed: Sequence[Suppressed] = (),
    ) -> Now:
        """Read the record and say what it says now."""
        latest = {(one.series.tank, one.series.name): one for one in record.latest()}
        incidents = record.incidents(_INCIDENTS_LOOKED_AT)
        lasting = record.incidents(open_only=True)
        boards = record.boards()
        works = [work for work in record.known_works() if work.settled_us > now_us]
        calibrated = last_calibrations(record)
        tanks = []
        for tank in self.labels.tanks:
            # The worst first, as the sentence has it; of equals the newest.
            here = tuple(
                sorted(
                    (one for one in lasting if one.incident.tank == tank),
                    key=lambda one: (one.incident.priority.rank, one.incident.number),
                    reverse=True,
                )
            )
            zone = self.labels.time_zone(tank)
            rows = tuple(
                self._row(record, label, latest.get((tank, label.name)), here, usual.get(index), now_us)
                for index, label in enumerate(self.labels.all_series)
                if label.tank == tank
            )
            ended = [one.incident for one in incidents if one.incident.tank == tank]
            sentence = sentence_for_tank(
                tank, [_for_sentence(row) for row in rows], here, _ended_last(ended), self.labels, now_us
            )
            known = tuple(
                BoardNow(one.name, one.is_online, one.since_us, day_and_clock(one.since_us, now_us, zone))
                for one in boards
                if one.tank == tank
            )
            title = self.labels.tank_title(tank)
            own = [one for one in works if one.tank == tank]
            # Those that go on or settle, and of those to come the next.
            begun = sum(one.from_us <= now_us for one in own)
            planned = tuple(_work_now(one, now_us, zone) for one in own[: begun + 1])
            hidden = self._suppressed_text(suppressed, planned, now_us, zone)
            open_here = [one.incident for one in here]
            equipment, reservoir = self._equipment_now(record, tank, rows, latest, open_here, now_us)
            overdue = overdue_text(calibrated, [row.label for row in rows], now_us, zone)
            seen = equipment, reservoir, overdue
            tanks.append(TankNow(tank, title, zone, sentence, here, rows, known, planned, hidden, *seen))
        worst = max(tanks, key=lambda tank: tank.sentence.rank)
        sentence_text = worst.sentence.text
        if len(tanks) > 1 and worst.sentence.rank:
            sentence_text = f"{worst.title}: {sentence_text}"
        elif len(tanks) > 1:
            sentence_text = "All tanks are quiet"
        if broker is not None and broker.refused_since_us is not None:
            since = day_and_clock(broker.refused_since_us, now_us, worst.time_zone)
            before = f". Until then: {sentence_text}" if worst.sentence.incident is not None else ""
            sentence_text = (
                f"Nothing is stored since {since}: is the disk full? Alarms still ring, but this page stands "
                f"still{before}"
            )
        return Now(
            at_us=now_us,
            at=full(now_us, worst.time_zone),
            sentence=sentence_text,
            incident=worst.sentence.incident,
            tanks=tuple(tanks),
            broker=broker_text(broker, now_us, worst.time_zone),
            broker_state=broker,
        )

    def _row(
        self,
        record: Record,
        label: SeriesLabel,
        latest: LatestReading | None,
        lasting: Sequence[IncidentRecord],
        standing: Standing | None,
        now_us: int,
    ) -> Row:
        concerned = tuple(one.incident for one in lasting if label.name in one.incident.series)
        fitted = None if standing is None else standing.fitted
        usual = "" if label.rules is None else usual_text(fitted, label.rules, now_us, label.units)
        if usual and not isinstance(fitted, WeekProfile):
            # Why, and what guards meanwhile, is told once: below the table, and by `brinebell check`.
            usual = usual.partition(", it ")[0].partition(":")[0]
        if latest is None:
            return Row(
                label,
                None,
                "no reading yet",
                NO_TREND,
                NO_DAY,
                None,
                "",
                None,
                "",
                True,
                concerned,
                usual,
                standing,
            )
        if isinstance(fitted, WeekProfile) and usual and latest.value is not None:
            usual = f"{_place(label, latest.value, fitted, now_us)} {usual}"
        is_timed = not latest.mark & Mark.TIME_UNKNOWN
        age_us = max(0, now_us - latest.observed_us)
        quality = QUALITY_WORDS.get(latest.flag, "")
        return Row(
            label=label,
            value=latest.value,
            value_text=label.show(latest.value),
            trend=trend_over_last_hour(record, latest.series.id, label, now_us),
            day=self._day(record, latest.series.id, label, fitted, now_us),
            flag=latest.flag,
            quality=quality if is_timed else f"{quality}, time unknown",
            observed_us=latest.observed_us,
            age=_age_words(age_us),
            is_silent=age_us > gap_limit_us(label),
            incidents=concerned,
            usual=usual,
            standing=standing,
        )

    def _suppressed_text(
        self, suppressed: Sequence[Suppressed], works: Sequence[WorkNow], now_us: int, time_zone: str
    ) -> str:
        """What would have rung but for the works that are shown."""
        titles = {(one.tank, one.name): one.title for one in self.labels.all_series}
        found = []
        for one in suppressed:
            alarm = one.alarm
            if any(
                alarm.tank == shown.work.tank and shown.work.from_us <= one.first_us <= shown.work.settled_us
                for shown in works
            ):
                title = titles.get((alarm.tank, alarm.series), alarm.series)
                since = day_and_clock(one.first_us, now_us, time_zone)
                found.append(f"{shown_name(alarm.cause)} ({title}) since {since}")
        return f"Suppressed by design: {'; '.join(found)}." if found else ""

    def _day(
        self,
        record: Record,
        series: int,
        label: SeriesLabel,
        fitted: WeekProfile | Learning | PoorFit | None,
        now_us: int,
    ) -> Day:
        moment = now_us // _LINE_AGE_US
        kept = self._days.get(label.key)
        if kept is not None and kept[0] == moment and kept[1].line:
            return kept[1]
        end_us = (now_us // _QUARTER_US + 1) * _QUARTER_US
        buckets = record.buckets(series, end_us - _LINE_RANGE_US, end_us, _LINE_RANGE_US // _QUARTER_US)
        drawn = day_of(label, buckets, fitted, end_us)
        self._days[label.key] = (moment, drawn)
        return drawn

    def _equipment_now(
        self,
        record: Record,
        tank: str,
        rows: Sequence[Row],
        latest: Mapping[tuple[str, str], LatestReading],
        lasting: Sequence[Incident],
        now_us: int,
    ) -> tuple[tuple[EquipmentNow, ...], str]:
        """What is seen of equipment, and how long the reservoir lasts."""
        equipment, roles = self._equipment[tank]
        of = {row.label.name: row for row in rows}
        powers = {
            role: Power(row.label, None if row.is_silent else row.value, row.day)
            for role, name in roles.items()
            if role.endswith("_power") and (row := of.get(name)) is not None
        }
        seen = equipment_now(equipment, powers, lasting, now_us, self.labels.time_zone(tank))
        row = of.get(roles.get("reservoir", ""))
        if row is None or row.value is None or row.is_silent:
            return seen, ""
        moment = now_us // HOUR_US
        kept = self._reservoirs.get(tank)
        if kept is None or kept[0] != moment:
            series = latest[tank, row.label.name].series.id
            hours = record.buckets(series, now_us - _RESERVOIR_US, now_us, _RESERVOIR_US // HOUR_US)
            kept = self._reservoirs[tank] = moment, hours
        return seen, reservoir_text(row.label, row.value, kept[1])


def _place(label: SeriesLabel, value: float, fitted: WeekProfile, now_us: int) -> str:
    """Where a value lies: "within", "0.7 °C below" or "0.2 °C above" the band that is told behind it."""
    band = fitted.band_at(now_us)
    beyond = max(band.low - value, value - band.high)
    if not beyond >= label.resolution / 2:
        return "within"
    return f"{label.show_difference(beyond)} {'below' if value < band.low else 'above'}"


def _work_now(work: PlannedWork, now_us: int, time_zone: str) -> WorkNow:
    quiet = quiet_text(work, now_us, time_zone) if work.from_us <= now_us < work.to_us else ""
    return WorkNow(work, work_text(work, now_us, time_zone), quiet)


def _age_words(age_us: int) -> str:
    return "just now" if age_us < HOUR_US // 60 else f"{duration_text(age_us)} ago"


def _for_sentence(row: Row) -> SeriesNow:
    return SeriesNow(row.label, row.value, row.observed_us, row.trend.word, row.is_silent)


def _ended_last(incidents: Sequence[Incident]) -> Incident | None:
    ended = [one for one in incidents if one.ended_at_us is not None]
    return max(ended, key=lambda one: one.ended_at_us or 0, default=None)
