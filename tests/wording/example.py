"""Tanks, series and incidents to be worded: of our own making, like the demo's."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from collector.configuration import (
    Configuration,
    MqttConfiguration,
    PageConfiguration,
    PersonConfiguration,
    SeriesConfiguration,
    StoreConfiguration,
    TankConfiguration,
)
from rules import (
    QUANTITIES,
    AlarmKey,
    EngineRules,
    Evidence,
    Incident,
    LimitAlarm,
    Priority,
    SeriesRules,
    TankRules,
)

MINUTE = 60_000_000
HOUR = 60 * MINUTE


def at(text: str) -> int:
    """Microseconds since 1970 of an instant in UTC."""
    return round(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()) * 1_000_000


# Half past two in the night to Saturday in the tank's time zone (Europe/Madrid, winter: UTC + 1 h).
NOW = at("2026-03-07T01:45:00")

TITLES = {
    "temperature": "Display temperature",
    "ph": "Display pH",
    "practical_salinity": "Salinity",
    "volume": "Top-off reservoir",
    "contact": "Floor leak contact",
    "water_level": "Sump level",
}


def configuration(
    *, tank_titles: tuple[str, ...] = ("Reef",), series_title: str | None = None
) -> Configuration:
    """One series of every quantity in every tank; temperature has danger lines at 23 and 28 degC."""
    names = [f"tank{number}" for number in range(len(tank_titles))]
    tanks = tuple(
        TankConfiguration(name, title, TankRules(name, "Europe/Madrid", 400.0, frozenset({"heater"})))
        for name, title in zip(names, tank_titles, strict=True)
    )
    pairs = [(name, quantity) for name in names for quantity in QUANTITIES]
    lines = tuple(
        LimitAlarm(setpoint, is_high, True, 0.2, MINUTE, MINUTE, Priority.URGENT)
        for setpoint, is_high in ((23.0, False), (28.0, True))
    )
    return Configuration(
        mqtt=MqttConfiguration(),
        store=StoreConfiguration(Path("unused")),
        page=PageConfiguration(),
        people=(PersonConfiguration("sam", ("json://127.0.0.1:1/", "mailto://127.0.0.1:2/")),),
        tanks=tanks,
        series=tuple(
            SeriesConfiguration(
                tank,
                quantity,
                quantity,
                TITLES.get(quantity, quantity.replace("_", " ").capitalize())
                if series_title is None
                else series_title,
            )
            for tank, quantity in pairs
        ),
        sources=(),
        boards=(),
        engine=EngineRules(
            tuple(tank.rules for tank in tanks),
            tuple(
                SeriesRules(tank, quantity, quantity, limit_alarms=lines if quantity == "temperature" else ())
                for tank, quantity in pairs
            ),
        ),
    )


HEATER = Incident(
    number=7,
    tank="tank0",
    cause="heater_failed_off",
    series=("temperature",),
    priority=Priority.URGENT,
    first_evidence_us=at("2026-03-07T01:30:00"),
    alarmed_at_us=NOW,
    ended_at_us=None,
    evidence=Evidence(
        value=24.62,
        expected_low=25.31,
        expected_high=25.74,
        rate_per_hour=-0.31,
        since_us=at("2026-03-07T01:30:00"),
        danger=23.0,
        danger_at_us=at("2026-03-07T03:10:00"),
        danger_earliest_us=at("2026-03-07T02:50:00"),
        danger_latest_us=at("2026-03-07T04:05:00"),
    ),
    alarms=(AlarmKey("tank0", "temperature", "heater_failed_off"),),
)


def incident(cause: str, quantity: str, evidence: Evidence, priority: Priority = Priority.HIGH) -> Incident:
    """An incident of one alarm."""
    key = AlarmKey("tank0", "sump_board" if cause == "device_offline" else quantity, cause)
    return replace(
        HEATER, cause=cause, series=(quantity,), priority=priority, evidence=evidence, alarms=(key,)
    )
