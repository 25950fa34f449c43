"""The checked configuration as the parts of the service receive it: frozen, in canonical units.

`collector.settings` makes it from one TOML file and the environment; nothing else reads either.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from types import MappingProxyType
from typing import TypeAlias

from collector.display_units import CANONICAL, DisplayUnits
from collector.recurrence import RecurringWork
from rules import MICROSECONDS, EngineRules, Priority, TankRules

Network: TypeAlias = ipaddress.IPv4Network | ipaddress.IPv6Network

_MINUTE_US = 60 * MICROSECONDS


@dataclass(frozen=True, slots=True)
class MqttConfiguration:
    """Where the broker is and how to log in. `password` is never printed."""

    host: str = "127.0.0.1"
    port: int = 1883
    client_id: str = "brinebell"
    username: str | None = None
    password: str | None = field(default=None, repr=False)
    tls: bool = False
    ca_file: Path | None = None
    keep_alive_s: int = 60
    receive_maximum: int = 1000
    session_expiry_s: int = 7 * 86400
    takes_requests: bool = False
    publishes: bool = True
    outage_after_us: int = 15 * 60 * MICROSECONDS


@dataclass(frozen=True, slots=True)
class StoreConfiguration:
    """Where readings are kept (a folder of its own) and how often they are committed.

    `commit_interval_s` 0 means whenever the store is free; `keep_us` is how long readings are kept, None for
    ever.
    """

    folder: Path
    commit_interval_s: float = 1.0
    keep_us: int | None = None

    @property
    def path(self) -> Path:
        """The database file."""
        return self.folder / "brinebell.sqlite"


@dataclass(frozen=True, slots=True)
class DatabaseConfiguration:
    """The time-series database that mirrors the store. `token` is never printed.

    Parameters
    ----------
    address
        Where it is, "http://127.0.0.1:8086".
    api
        "v2": written through influxdb-client, read by Flux; "v1": /write and InfluxQL at /query.
    bucket
        The bucket; for v1 the database, or database/retention policy.
    token
        For v1 "user:password".
    interval_s
        Wall seconds between two batches while nothing is in arrears.
    outage_after_us
        How long it may be away, or refuse, before that is told.
    """

    address: str
    api: str = "v2"
    org: str = ""
    bucket: str = "brinebell"
    token: str | None = field(default=None, repr=False)
    ca_file: Path | None = None
    gzip: bool = True
    interval_s: float = 10.0
    outage_after_us: int = 24 * 60 * _MINUTE_US

    @property
    def identity(self) -> str:
        """What tells this database from another one, which would have to be filled from the beginning."""
        return f"{self.api} {self.address} {self.org}/{self.bucket}"


@dataclass(frozen=True, slots=True)
class PageConfiguration:
    """Where the page is served, and who may look.

    Parameters
    ----------
    public_url
        What a phone can reach, if anything.
    password_hash
        As `collector.passwords` makes it; never printed.
    proxies, user_header
        Reverse proxies that are believed, and the header in which they say who has logged in there.
    """

    enabled: bool = True
    host: str = "127.0.0.1"
    port: int = 8460
    public_url: str | None = None
    password_hash: str | None = field(default=None, repr=False)
    proxies: tuple[Network, ...] = ()
    user_header: str | None = None

    @property
    def asks_who(self) -> bool:
        """Whether everybody must be known who looks."""
        return self.password_hash is not None or self.user_header is not None

    @property
    def is_local(self) -> bool:
        """Whether only this machine can reach it; a name other than localhost may point elsewhere."""
        if self.host == "localhost":
            return True
        try:
            return ipaddress.ip_address(self.host).is_loopback
        except ValueError:
            return False


@dataclass(frozen=True, slots=True)
class PersonConfiguration:
    """Someone who is told. `urls` are apprise URLs and hold secrets: never printed, never logged.

    Parameters
    ----------
    urls
        All of them, each once.
    own
        Those of a priority that has some of its own; the others are told over `shared`.
    night, rings_at_night, away
        As in `collector.telling.Person`.
    """

    name: str
    urls: tuple[str, ...] = field(default=(), repr=False)
    own: Mapping[Priority, tuple[str, ...]] = field(default_factory=lambda: MappingProxyType({}), repr=False)
    shared: tuple[str, ...] | None = field(default=None, repr=False)
    night: tuple[int, int] = (22 * 60, 7 * 60)
    rings_at_night: frozenset[Priority] = frozenset({Priority.URGENT})
    away: tuple[tuple[date, date], ...] = ()

    def urls_for(self, priority: Priority) -> tuple[str, ...]:
        """Where messages of a priority go."""
        return self.own.get(priority, self.urls if self.shared is None else self.shared)


@dataclass(frozen=True, slots=True)
class TellingConfiguration:
    """How often and to whom: one person's turn and when it passes on, and the test ring.

    Durations in microseconds; `test_ring` is "monthly", "weekly" or "never", `test_ring_at` minutes since
    midnight. `opening` stands before the title of each message.
    """

    repeat_us: int = 5 * _MINUTE_US
    rings: int = 3
    next_us: int = 15 * _MINUTE_US
    rounds: int = 4
    test_ring: str = "monthly"
    test_ring_at: int = 11 * 60
    test_answer_us: int = 240 * _MINUTE_US
    opening: str = ""


@dataclass(frozen=True, slots=True)
class Calibration:
    """Two buffers (pH, mV, degC) of a pH electrode, for series that arrive as electrode millivolts."""

    first_ph: float
    first_mv: float
    second_ph: float
    second_mv: float
    temperature_celsius: float = 25.0


@dataclass(frozen=True, slots=True)
class LevelTable:
    """A tank table: heights (in `unit`, rising) to litres; heights between rows are interpolated."""

    unit: str
    heights: tuple[float, ...]
    litres: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class SeriesConfiguration:
    """One series: what it is, and how a value that arrives becomes one in its canonical unit.

    Parameters
    ----------
    tank, name, quantity
        As in `rules.SeriesRules`.
    title
        What a person reads, "Display temperature".
    unit
        Unit of arriving values that bring none of their own; None is the canonical unit.
    scale
        pH scale ("nbs", "total", "seawater", "free") of a pH series.
    words
        Own words for the two states, lower case -> 0.0 or 1.0, beside the built-in ones.
    is_inverted
        Whether 0 and 1 change places after reading the state.
    reference
        Reference temperature pair of a specific gravity, such as "20/20 degC", where `unit` is one.
    calibration, level_table
        For pH that arrives as millivolts, and for levels that arrive as heights.
    temperature_from
        Name of the series (same tank) whose newest value compensates this one: conductivity to
        salinity, electrode millivolts to pH.
    derived_from
        Name of the series (same tank) from which this one is computed: practical salinity from a
        conductivity. Such a series arrives from no board.
    latches
        Whether its alarms stay, when their condition is gone, until somebody resets them.
    """

    tank: str
    name: str
    quantity: str
    title: str = ""
    unit: str | None = None
    scale: str | None = None
    words: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    is_inverted: bool = False
    reference: str | None = None
    calibration: Calibration | None = None
    level_table: LevelTable | None = None
    temperature_from: str | None = None
    derived_from: str | None = None
    latches: bool = False


@dataclass(frozen=True, slots=True)
class SourceConfiguration:
    """How the messages of some topics become readings.

    Parameters
    ----------
    topic
        MQTT topic filter; its + and # levels are numbered from 1 for `tank` and `series`.
    format
        Name of a payload format of `collector.payloads`: number, json, senml, homie, line_protocol.
    tank, series
        Names, in which {1}, {2} ... stand for what the wildcards matched. `series` is for payloads
        of one value.
    values
        For payloads of several values: name inside the payload -> series name. A JSON Pointer for json;
        a SenML name, or the path device/node/property of homie, or the end of either after / or :; for
        line_protocol a field key, or measurement, tags and key as in "water,probe=sump temp".
    unit
        Unit of all values of this source that bring none of their own (before the series' own).
    time
        JSON Pointer to the observation time, for format json.
    time_format
        rfc3339, unix_s, unix_ms or unix_us.
    """

    topic: str
    format: str
    tank: str
    series: str | None = None
    values: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    unit: str | None = None
    time: str | None = None
    time_format: str = "rfc3339"


@dataclass(frozen=True, slots=True)
class BoardConfiguration:
    """A board whose last will tells that it is gone: topic, payloads, and the series it carries."""

    tank: str
    name: str
    topic: str
    online: str = "online"
    offline: str = "offline"
    series: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class TankConfiguration:
    """What people call the tank, and what the engine knows of it."""

    name: str
    title: str
    rules: TankRules


@dataclass(frozen=True, slots=True)
class Configuration:
    """Everything, checked. `series[i]` and `engine.series[i]` are the same series."""

    mqtt: MqttConfiguration
    store: StoreConfiguration
    page: PageConfiguration
    people: tuple[PersonConfiguration, ...]
    tanks: tuple[TankConfiguration, ...]
    series: tuple[SeriesConfiguration, ...]
    sources: tuple[SourceConfiguration, ...]
    boards: tuple[BoardConfiguration, ...]
    engine: EngineRules
    works: tuple[RecurringWork, ...] = ()
    telling: TellingConfiguration = TellingConfiguration()
    database: DatabaseConfiguration | None = None
    sign_of_life_url: str | None = field(default=None, repr=False)
    outage_after_us: int = 10 * 60 * MICROSECONDS
    text: str = ""
    units: DisplayUnits = CANONICAL

    def tank(self, name: str) -> TankConfiguration:
        """The tank of that name; KeyError if there is none."""
        for tank in self.tanks:
            if tank.name == name:
                return tank
        raise KeyError(name)

    def series_index(self, tank: str, name: str) -> int:
        """Index of a series; KeyError if there is none."""
        for index, series in enumerate(self.series):
            if series.tank == tank and series.name == name:
                return index
        raise KeyError(f"{tank}/{name}")
