"""From checked structure to a `Configuration`: text with units ends here, and so do contradictions."""

from __future__ import annotations

import zoneinfo
from collections.abc import Collection, Iterable, Mapping
from pathlib import Path
from types import MappingProxyType
from urllib.parse import urlsplit

from collector.configuration import (
    BoardConfiguration,
    Configuration,
    MqttConfiguration,
    SeriesConfiguration,
    SourceConfiguration,
    StoreConfiguration,
    TankConfiguration,
)
from collector.errors import ConfigError
from collector.settings.database import resolve_database
from collector.settings.equipment import EQUIPMENT
from collector.settings.mistakes import Mistakes
from collector.settings.model import MqttSettings, Settings, TankSettings
from collector.settings.page import resolve_page
from collector.settings.people import resolve_person, resolve_telling
from collector.settings.secrets import SecretFiles
from collector.settings.section import Section
from collector.settings.series import resolve_series
from collector.settings.suggestions import instead_of, nearest
from collector.settings.topics import Declared, brings, check_unit, names, resolve_board, resolve_source
from collector.settings.units import resolve_units
from collector.settings.works import resolve_works
from collector.units import parse_duration
from rules import FAULTS, MICROSECONDS, ROLES, EngineRules, SeriesRules, TankRules

# MQTT 5.0, 3.1.2.10 and 3.1.2.11.2: two bytes and four bytes of seconds.
_LONGEST_KEEP_ALIVE_S = 65_535
_LONGEST_EXPIRY_S = 0xFFFF_FFFE
# What is not committed is not acknowledged, and the broker stops sending when its window is full.
_LONGEST_COMMIT_INTERVAL_S = 60
_LONGEST_ALLOWANCE_S = 300
# A restart looks back over days of readings, and who tunes wants weeks.
_SHORTEST_KEEP_S = 30 * 86_400
_FOREVER = "forever"
# The second level of topics of the service itself, where those of a tank have its name.
RESERVED_TANK = "service"


def resolve(
    settings: Settings,
    declared: Declared,
    secrets: SecretFiles,
    mistakes: Mistakes,
    *,
    folder: Path,
    text: str,
) -> Configuration:
    """Make the configuration; what is wrong is noted in `mistakes`, and the result is then of no use.

    Parameters
    ----------
    declared
        Tank -> names of its series as written, faulty ones included.
    folder
        From where relative names of folders and files are taken.
    text
        The file, kept with the readings that were judged by it.
    """
    top = Section(mistakes)
    service = top.at("service")
    commit_us = service.duration(
        "commit_interval", settings.service.commit_interval, most_s=_LONGEST_COMMIT_INTERVAL_S
    )
    allowance_us = service.duration("allowance", settings.service.allowance, most_s=_LONGEST_ALLOWANCE_S)
    if not settings.tanks and not declared:
        top.wrong("tanks", "there is none: write [tanks.reef] and its series [tanks.reef.series.temperature]")
    tanks, series = _tanks(top.at("tanks"), settings.tanks, declared)
    sources = tuple(
        resolve_source(top.at("sources", position), one, declared)
        for position, one in sorted(settings.sources.items())
    )
    boards = _boards(top, settings, declared)
    works = resolve_works(top, settings.works, tanks)
    _check_together(top, tuple(one for one, _ in series), sources, settings.sources)
    return Configuration(
        mqtt=_mqtt(top.at("mqtt"), settings.mqtt, secrets, folder),
        store=StoreConfiguration(
            folder / Path(settings.service.folder).expanduser(),
            (commit_us or 0) / MICROSECONDS,
            _keep_us(service, settings.service.keep_readings),
        ),
        page=resolve_page(top.at("page"), settings.page, secrets),
        people=tuple(
            resolve_person(top.at("people", name), person, secrets)
            for name, person in settings.people.items()
        ),
        telling=resolve_telling(top.at("telling"), settings.telling),
        database=resolve_database(top.at("database"), settings.database, secrets, folder),
        tanks=tanks,
        series=tuple(one for one, _ in series),
        sources=sources,
        boards=boards,
        engine=EngineRules(
            tuple(tank.rules for tank in tanks), tuple(rules for _, rules in series), allowance_us or 0
        ),
        works=works,
        outage_after_us=service.duration("outage_after", settings.service.outage_after, least_s=10) or 0,
        sign_of_life_url=_url(service, settings.service.sign_of_life_url),
        text=text,
        units=resolve_units(top.at("units"), settings.units),
    )


def _mqtt(section: Section, settings: MqttSettings, secrets: SecretFiles, folder: Path) -> MqttConfiguration:
    if not settings.host or any(sign in settings.host for sign in "/@ "):
        # Not shown: an address with a user in it may hold a password.
        section.wrong(
            "host", "the name or address of a machine alone is needed; user, port and TLS have own keys"
        )
    for key, value in (("port", settings.port), ("receive_maximum", settings.receive_maximum)):
        if not 1 <= value <= 65_535:
            section.wrong(key, "a whole number from 1 to 65535 is needed", value)
    if not settings.client_id:
        section.wrong("client_id", "must not be empty: the broker keeps our session under it")
    if settings.ca_file is not None and not settings.tls:
        section.wrong("ca_file", "means nothing without tls = true", settings.ca_file)
    ca_file = None if settings.ca_file is None else folder / Path(settings.ca_file).expanduser()
    if ca_file is not None and not ca_file.is_file():
        section.wrong("ca_file", f"there is no such file; names are relative to {folder}", settings.ca_file)
    keep_alive_us = section.duration(
        "keep_alive", settings.keep_alive, least_s=5, most_s=_LONGEST_KEEP_ALIVE_S
    )
    expiry_us = section.duration(
        "session_expiry", settings.session_expiry, least_s=60, most_s=_LONGEST_EXPIRY_S
    )
    outage_us = section.duration("outage_after", settings.outage_after, least_s=10)
    if settings.password is not None:
        password: str | None = settings.password.get_secret_value()
    elif settings.password_file is not None:
        password = secrets.password((*section.path, "password_file"), settings.password_file)
    else:
        password = None
    return MqttConfiguration(
        host=settings.host,
        port=settings.port,
        client_id=settings.client_id,
        username=settings.username,
        password=password,
        tls=settings.tls,
        ca_file=ca_file,
        keep_alive_s=(keep_alive_us or 0) // MICROSECONDS,
        receive_maximum=settings.receive_maximum,
        takes_requests=settings.takes_requests,
        publishes=settings.publishes,
        outage_after_us=outage_us or 0,
        session_expiry_s=(expiry_us or 0) // MICROSECONDS,
    )


def _keep_us(section: Section, text: str) -> int | None:
    if text.strip().lower() == _FOREVER:
        return None
    try:
        keep_us = parse_duration(text)
    except ConfigError:
        keep_us = 0
    if keep_us < _SHORTEST_KEEP_S * MICROSECONDS:
        section.wrong(
            "keep_readings", f'"{_FOREVER}", or 30 days at least, is needed, such as "400 days"', text
        )
    return keep_us


def _url(section: Section, url: str | None) -> str | None:
    """An address to ask for; it is not shown, for it may hold a secret."""
    if url is None:
        return None
    try:
        parts = urlsplit(url)
        is_right = parts.scheme in ("http", "https") and bool(parts.hostname) and parts.port != 0
    except ValueError:
        is_right = False
    if not is_right or not url.isascii() or any(sign.isspace() for sign in url):
        section.wrong("sign_of_life_url", 'an address such as "https://watch.example/reef" is needed')
        return None
    return url


def _tanks(
    section: Section, settings: Mapping[str, TankSettings], declared: Declared
) -> tuple[tuple[TankConfiguration, ...], list[tuple[SeriesConfiguration, SeriesRules]]]:
    tanks, series = [], []
    for name, tank in settings.items():
        place = section.at(name)
        place.own_name()
        if name == RESERVED_TANK:
            place.wrong("", f"brinebell/{name}/ is for topics of the service itself: name the tank otherwise")
        for series_name, one in tank.series.items():
            found = resolve_series(place.at("series", series_name), name, one, declared.get(name, ()), tank)
            if found is not None:
                series.append(found)
        if not declared.get(name):
            place.wrong("series", f"there is none: write [tanks.{name}.series.temperature]")
        tanks.append(_tank(place, name, tank, declared.get(name, ())))
    return tuple(tanks), series


def _tank(
    section: Section, name: str, settings: TankSettings, siblings: Collection[str]
) -> TankConfiguration:
    _check_time_zone(section, settings.time_zone)
    known = frozenset(EQUIPMENT).union(*(fault.equipment for fault in FAULTS.values()))
    for word in settings.equipment:
        if word not in known:
            section.wrong("equipment", instead_of(word, known), word)
    roles = section.at("roles")
    for role, series in settings.roles.items():
        one = settings.series.get(series)
        if role not in ROLES:
            roles.wrong(role, f"no such role; {instead_of(role, ROLES)}", series)
        elif series not in siblings:
            roles.wrong(role, f"no such series; {instead_of(series, siblings)}", series)
        elif one is not None and one.quantity not in ROLES[role].quantities:
            wanted = " or ".join(ROLES[role].quantities)
            roles.wrong(role, f"a {wanted} is needed, and that series is a {one.quantity}", series)
    return TankConfiguration(
        name=name,
        title=section.title(settings.title),
        rules=TankRules(
            name=name,
            time_zone=settings.time_zone,
            volume_litres=section.above_zero("volume", settings.volume, "volume"),
            equipment=frozenset(settings.equipment),
            faults=MappingProxyType(
                {code: _fault(section.at("faults", code), code, own) for code, own in settings.faults.items()}
            ),
            roles=MappingProxyType(dict(settings.roles)),
        ),
    )


def _fault(section: Section, code: str, own: Mapping[str, str]) -> Mapping[str, float]:
    """Own values of a fault's parameters, by the list that the fault itself keeps."""
    fault = FAULTS.get(code)
    if fault is None:
        section.wrong("", f"no such fault; {instead_of(code, FAULTS)}")
        return MappingProxyType({})
    parameters = {parameter.name: parameter for parameter in fault.parameters}
    found: dict[str, float] = {}
    for key, text in own.items():
        parameter = parameters.get(key)
        if parameter is None:
            section.wrong(key, f"no such parameter; {instead_of(key, parameters)}", text)
            continue
        if parameter.kind == "duration":
            duration_us = section.duration(key, text)
            value = None if duration_us is None else float(duration_us)
        elif parameter.kind == "rate":
            value = section.rate(key, text, parameter.quantity)
        elif parameter.kind == "number":
            value = section.number(key, text)
        else:
            value = section.quantity(key, text, parameter.quantity, difference=True)
        if value is not None:
            found[key] = value
    return MappingProxyType(found)


def _check_time_zone(section: Section, name: str) -> None:
    try:
        zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        meant = nearest(name, zoneinfo.available_timezones())
        hint = f'did you mean "{meant}"?' if meant else 'an IANA name is needed, such as "UTC"'
        section.wrong("time_zone", f"no such time zone; {hint}", name)


def _boards(top: Section, settings: Settings, declared: Declared) -> tuple[BoardConfiguration, ...]:
    boards: list[BoardConfiguration] = []
    for position, one in sorted(settings.boards.items()):
        section = top.at("boards", position)
        board = resolve_board(section, one, declared)
        if any((board.tank, board.name) == (other.tank, other.name) for other in boards):
            section.wrong("name", "another board of this tank has that name", board.name)
        boards.append(board)
    return tuple(boards)


def _check_together(
    top: Section,
    series: tuple[SeriesConfiguration, ...],
    sources: tuple[SourceConfiguration, ...],
    positions: Iterable[int],
) -> None:
    """Check references between series, and that something feeds each."""
    by_name = {(one.tank, one.name): one for one in series}
    for position, source in zip(sorted(positions), sources, strict=True):
        check_unit(top.at("sources", position), source, series)
    for one in series:
        section = top.at("tanks", one.tank, "series", one.name)
        for key, name, quantities in (
            ("temperature_from", one.temperature_from, ("temperature",)),
            ("derived_from", one.derived_from, ("conductivity", "specific_conductance")),
        ):
            other = by_name.get((one.tank, name or ""))
            if other is not None and other.quantity not in quantities:
                section.wrong(
                    key, f"a {' or '.join(quantities)} is needed, and that is a {other.quantity}", name
                )
        if one.derived_from is not None and one.temperature_from is None:
            section.wrong(
                "temperature_from", "is missing: salinity is computed from conductivity and temperature"
            )
        if one.derived_from is not None and any(names(source, one.tank, one.name) for source in sources):
            section.wrong(
                "derived_from", "a series is either computed or brought by a source", one.derived_from
            )
        if one.derived_from is None and not any(brings(source, one.tank, one.name) for source in sources):
            section.wrong("", "no source brings this series: name it in one of [[sources]]")
