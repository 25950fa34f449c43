"""A tank of our own making whose night goes wrong, written into a real store: what the pages show."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from math import pi, sin
from pathlib import Path

from collector.configuration import (
    BoardConfiguration,
    Configuration,
    MqttConfiguration,
    PageConfiguration,
    SeriesConfiguration,
    StoreConfiguration,
    TankConfiguration,
)
from collector.messages import NewMessage
from collector.readings import Mark
from collector.store import BoardState, Commit, IncidentRecord, Outbox, Outcome, Row, Store
from rules import (
    AlarmKey,
    AlarmRaised,
    AlarmReturned,
    EngineRules,
    Evidence,
    Flag,
    GapLimits,
    Incident,
    LimitAlarm,
    Priority,
    Reason,
    Rival,
    SeriesRules,
    Sign,
    TankRules,
)

SECOND = 1_000_000
MINUTE = 60 * SECOND
HOUR = 60 * MINUTE


def at(text: str) -> int:
    """Microseconds since 1970 of an instant in UTC."""
    return round(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()) * SECOND


# Quarter to three in the night to Saturday in the tank's zone (Europe/Madrid, winter: UTC + 1 h).
NOW = at("2026-03-07T01:45:00")

SERIES: tuple[tuple[str, str, str], ...] = (
    ("temperature", "temperature", "Display temperature"),
    ("ph", "ph", "Display pH"),
    ("practical_salinity", "practical_salinity", "Salinity"),
    ("reservoir", "volume", "Top-off reservoir"),
    ("heater_power", "power", "Heater power"),
    ("room_temperature", "temperature", "Room temperature"),
    ("sump_level", "water_level", "Sump level"),
    ("floor_leak", "contact", "Floor leak contact"),
)


def _limits(name: str) -> tuple[LimitAlarm, ...]:
    if name != "temperature":
        return ()
    return (
        LimitAlarm(24.5, False, False, 0.15, 10 * MINUTE, 15 * MINUTE, Priority.HIGH),
        LimitAlarm(23.0, False, True, 0.15, MINUTE, 15 * MINUTE, Priority.URGENT),
        LimitAlarm(28.0, True, True, 0.15, MINUTE, 15 * MINUTE, Priority.URGENT),
    )


def configuration(
    folder: Path,
    *,
    tanks: Sequence[tuple[str, str]] = (("reef", "The reef"),),
    series: Sequence[tuple[str, str, str]] = SERIES,
    page: PageConfiguration | None = None,
) -> Configuration:
    """Every tank has the same series; the page takes any free port."""
    rules = tuple(TankRules(name, "Europe/Madrid", 400.0, frozenset({"heater"})) for name, _ in tanks)
    pairs = [(tank, *one) for tank, _ in tanks for one in series]
    return Configuration(
        mqtt=MqttConfiguration(),
        store=StoreConfiguration(folder),
        page=PageConfiguration(port=0) if page is None else page,
        people=(),
        tanks=tuple(
            TankConfiguration(name, title, one) for (name, title), one in zip(tanks, rules, strict=True)
        ),
        series=tuple(
            SeriesConfiguration(tank, name, quantity, title) for tank, name, quantity, title in pairs
        ),
        sources=(),
        boards=tuple(BoardConfiguration(tank, "sump", f"boards/{tank}/status") for tank, _ in tanks),
        engine=EngineRules(
            rules,
            tuple(
                SeriesRules(tank, name, quantity, gap=GapLimits(15 * MINUTE), limit_alarms=_limits(name))
                for tank, name, quantity, _ in pairs
            ),
        ),
    )


def usual(name: str, at_us: int) -> float:
    """What a series does on a usual day, with a day's swing and some ripple."""
    day = 2 * pi * (at_us % (24 * HOUR)) / (24 * HOUR)
    ripple = sin(at_us / (7 * MINUTE))
    if name == "temperature":
        return 25.5 - 0.2 * sin(day) + 0.05 * ripple
    if name == "ph":
        return 8.1 - 0.12 * sin(day) + 0.004 * ripple
    if name == "practical_salinity":
        return 35.0 + 0.03 * ripple
    if name == "reservoir":
        return 18.0 - 4.0 * (at_us % (24 * HOUR)) / (24 * HOUR)
    if name == "heater_power":
        return 200.0 if ripple > 0.2 else 0.0
    if name == "room_temperature":
        return 19.0 - 1.5 * sin(day)
    if name == "sump_level":
        return 22.0 + 0.2 * ripple
    return 0.0


def row(
    index: int,
    at_us: int,
    value: float,
    *,
    flag: Flag = Flag.PASS,
    mark: Mark = Mark.NONE,
) -> Row:
    """A row of the series at `index` of the configuration."""
    return (index, at_us, value, int(flag), int(mark), 50, 0, b"")


def commit(store: Store, *rows: Row, now_us: int = NOW) -> None:
    """One commit of readings."""
    store.commit(Commit(now_us, now_us, rows=rows))


def fill(
    store: Store,
    configuration: Configuration,
    *,
    hours: float = 26,
    every_us: int = MINUTE,
    end_us: int = NOW,
    value: Callable[[str, int], float] = usual,
) -> None:
    """Usual readings of every series up to `end_us`."""
    for index, one in enumerate(configuration.series):
        times = range(end_us - int(hours * HOUR), end_us + 1, every_us)
        commit(store, *(row(index, at_us, value(one.name, at_us)) for at_us in times))


def cooling(name: str, at_us: int) -> float:
    """The heater fails off three hours before `NOW`; the water follows the room, 0.31 degC an hour."""
    failed_us = NOW - 3 * HOUR
    if name == "temperature" and at_us > failed_us:
        return usual(name, failed_us) - 0.31 * (at_us - failed_us) / HOUR
    if name == "heater_power" and at_us > failed_us:
        return 0.0
    return usual(name, at_us)


HEATER_KEY = AlarmKey("reef", "temperature", "heater_failed_off")
HEATER_EVIDENCE = Evidence(
    value=24.62,
    expected_low=25.31,
    expected_high=25.74,
    rate_per_hour=-0.31,
    since_us=NOW - 3 * HOUR,
    danger=23.0,
    danger_at_us=NOW + 145 * MINUTE,
    danger_earliest_us=NOW + 120 * MINUTE,
    danger_latest_us=NOW + 200 * MINUTE,
    confidence=0.9,
    reasons=(
        Reason(Sign.SLOPE, "temperature", -0.31, window_us=HOUR),
        Reason(Sign.BAND, "temperature", 24.62, 25.31, 25.74),
    ),
    rivals=(Rival("heater_weak", 0.45), Rival("probe_dry", 0.3)),
)


def heater_incident(number: int = 1, *, ended_us: int | None = None, tank: str = "reef") -> IncidentRecord:
    """The heater's incident with the words that a person was told."""
    return IncidentRecord(
        Incident(
            number=number,
            tank=tank,
            cause="heater_failed_off",
            series=("temperature",),
            priority=Priority.URGENT,
            first_evidence_us=NOW - 150 * MINUTE,
            alarmed_at_us=NOW - 120 * MINUTE,
            ended_at_us=ended_us,
            evidence=HEATER_EVIDENCE,
            alarms=(HEATER_KEY,),
        ),
        "Heater failed: The reef 24.6 °C, danger about 05:10",
        "Falling 0.31 °C/h since 23:45. Danger line 23.0 °C between 04:45 and 06:05. Act now: first look at "
        "the heater's plug, fuse and thermostat. Unplug it before hands go into the water.",
    )


def raise_heater_incident(store: Store, path: Path, *, ended_us: int | None = None) -> None:
    """The incident, its alarm, and two messages about it: one delivered at the second try, one waiting."""
    alarms: list[AlarmRaised | AlarmReturned] = [
        AlarmRaised(
            NOW - 120 * MINUTE,
            HEATER_KEY,
            Priority.URGENT,
            NOW - 150 * MINUTE,
            ("temperature",),
            HEATER_EVIDENCE,
        )
    ]
    if ended_us is not None:
        alarms.append(AlarmReturned(ended_us, HEATER_KEY, 25.2))
    record = heater_incident(ended_us=ended_us)
    begun_us, told = NOW - 120 * MINUTE, (record.title, record.body)
    store.commit(
        Commit(
            NOW,
            NOW,
            alarms=alarms,
            incidents=[record],
            messages=[
                NewMessage(1, "opened", "keeper", channel, begun_us, begun_us, *told, Priority.URGENT)
                for channel in ("phone", "mail")
            ],
        )
    )
    with Outbox(path) as outbox:
        first = outbox.due(NOW)[0]
        failed = outbox.record_try_started(first.id, begun_us + SECOND)
        outbox.record_try_ended(failed, begun_us + 3 * SECOND, Outcome.FAILED, "no route to <host>")
        second = outbox.record_try_started(first.id, begun_us + 33 * SECOND)
        outbox.record_try_ended(second, begun_us + 34 * SECOND, Outcome.DELIVERED)


def set_board(store: Store, name: str, *, is_online: bool, since_us: int, tank: str = "reef") -> None:
    """A board came or went."""
    store.commit(Commit(NOW, NOW, boards=[BoardState(tank, name, is_online, since_us)]))
