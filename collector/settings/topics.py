"""Sources and boards of the file: which topics bring which series, and whose last will is heard where."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from types import MappingProxyType

from collector.configuration import BoardConfiguration, SeriesConfiguration, SourceConfiguration
from collector.errors import BrinebellError, ConfigError
from collector.payloads import FORMATS, TIME_FORMATS
from collector.settings.model import BoardSettings, SourceSettings
from collector.settings.section import Section
from collector.settings.suggestions import instead_of
from collector.units import converter

_PLACE = re.compile(r"\{(\d*)\}")
# Longest UTF-8 text that MQTT can carry (OASIS MQTT 5.0, 1.5.4).
_LONGEST_TOPIC = 65_535

Declared = Mapping[str, Collection[str]]


def resolve_source(section: Section, settings: SourceSettings, declared: Declared) -> SourceConfiguration:
    """Make a source; `declared` is tank -> names of its series."""
    wildcards = _check_topic(section, settings.topic, is_filter=True)
    if settings.format not in FORMATS:
        section.wrong("format", instead_of(settings.format, FORMATS), settings.format)
    if settings.time_format not in TIME_FORMATS:
        section.wrong("time_format", instead_of(settings.time_format, TIME_FORMATS), settings.time_format)
    if settings.time is not None and settings.format in FORMATS and settings.format != "json":
        section.wrong(
            "time", f"only json has a pointer to its time, {settings.format} brings its own or none"
        )
    if settings.series is None and not settings.values:
        section.wrong("", "says of no series what it brings: give series, or values for payloads of several")
    _check_place(section, "tank", settings.tank, wildcards, declared, "tank")
    series = (
        declared.get(settings.tank, ())
        if not _PLACE.search(settings.tank)
        else {name for names in declared.values() for name in names}
    )
    if settings.series is not None:
        _check_place(section, "series", settings.series, wildcards, series, "series of that tank")
    for said, name in (settings.values or {}).items():
        _check_place(section.at("values"), said, name, wildcards, series, "series of that tank")
    source = SourceConfiguration(
        topic=settings.topic,
        format=settings.format,
        tank=settings.tank,
        series=settings.series,
        values=MappingProxyType(dict(settings.values or {})),
        unit=settings.unit,
        time=settings.time,
        time_format=settings.time_format,
    )
    if settings.format in FORMATS and settings.time_format in TIME_FORMATS:
        try:
            FORMATS[settings.format](source)
        except ConfigError as error:
            section.wrong("values" if settings.values else "", str(error))
    return source


def check_unit(section: Section, source: SourceConfiguration, series: Sequence[SeriesConfiguration]) -> None:
    """Note a unit of a source that a series which it brings does not take."""
    if source.unit is None:
        return
    brought = [one for one in series if brings(source, one.tank, one.name)]
    refusals = []
    for one in brought:
        try:
            converter(source.unit, one)
        except BrinebellError as error:
            refusals.append(error)
    # One that is named by a wildcard need not be brought; without any, each must be.
    if refusals and (len(refusals) == len(brought) or "{" not in f"{source.tank}{source.series}"):
        section.not_read("unit", source.unit, refusals[0])


def brings(source: SourceConfiguration, tank: str, series: str) -> bool:
    """Whether a source may bring a series; one that names it by a wildcard may bring any."""
    return _may_be(source.tank, tank) and any(
        _may_be(name, series) for name in (source.series, *source.values.values()) if name is not None
    )


def names(source: SourceConfiguration, tank: str, series: str) -> bool:
    """Whether a source names a series outright, not by a wildcard."""
    return source.tank == tank and series in (source.series, *source.values.values())


def resolve_board(section: Section, settings: BoardSettings, declared: Declared) -> BoardConfiguration:
    """Make a board; `declared` is tank -> names of its series."""
    _check_topic(section, settings.topic, is_filter=False)
    section.name("name", settings.name)
    if settings.tank not in declared:
        section.wrong("tank", f"no such tank; {instead_of(settings.tank, declared)}", settings.tank)
    else:
        for name in settings.series:
            if name not in declared[settings.tank]:
                section.wrong(
                    "series",
                    f"no such series of that tank; {instead_of(name, declared[settings.tank])}",
                    name,
                )
    if settings.online == settings.offline:
        section.wrong("offline", "must differ from online", settings.offline)
    return BoardConfiguration(
        tank=settings.tank,
        name=settings.name,
        topic=settings.topic,
        online=settings.online,
        offline=settings.offline,
        series=tuple(settings.series),
    )


def _check_topic(section: Section, topic: str, *, is_filter: bool) -> int:
    """Note what MQTT does not allow (OASIS MQTT 5.0, 4.7); return how many wildcards there are."""
    levels = topic.split("/")
    wildcards = [level for level in levels if level in ("+", "#")]
    if not topic or "\0" in topic or len(topic.encode("utf-8", "replace")) > _LONGEST_TOPIC:
        section.wrong("topic", "a topic is a text of 1 to 65535 bytes without NUL", topic)
    elif any(("+" in level or "#" in level) and level not in ("+", "#") for level in levels):
        section.wrong("topic", "+ and # stand alone between slashes: boards/+/temperature", topic)
    elif "#" in levels[:-1]:
        section.wrong("topic", "# can only be the last level: boards/#", topic)
    elif wildcards and not is_filter:
        section.wrong("topic", "the topic of a board's last will has no wildcards", topic)
    return len(wildcards)


def _check_place(
    section: Section, key: str, text: str, wildcards: int, valid: Collection[str], what: str
) -> None:
    places = _PLACE.findall(text)
    if not places:
        if text not in valid:
            section.wrong(key, f"no such {what}; {instead_of(text, valid)}", text)
        return
    for place in places:
        if not place.isdecimal() or not 1 <= int(place) <= wildcards:
            there = f"{{1}} to {{{wildcards}}}" if wildcards else "none, its topic has no wildcard"
            section.wrong(key, f"{{{place}}} stands for no wildcard of the topic; there is {there}", text)


def _may_be(text: str, name: str) -> bool:
    """Whether a text with {1} in it can become this name."""
    parts = _PLACE.split(text)[::2]
    return re.fullmatch("[^/]+".join(map(re.escape, parts)), name) is not None
