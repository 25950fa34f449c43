"""From a message to readings: which source reads it, and which series do its values belong to?

Topic filters of all sources are matched once per topic and remembered; after that a message costs its
decoder, a look-up and a unit conversion per value.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Sequence
from typing import NamedTuple, TypeAlias

from collector.configuration import Configuration, SeriesConfiguration, SourceConfiguration
from collector.errors import BrinebellError, ConfigError, PayloadError
from collector.payloads import FORMATS, Decoder, Kind, number_value, shown, state_value
from collector.problems import Problem
from collector.readings import Mark, Reading
from rules import QUANTITIES, TWO_STATE

# Spelling of a unit (None: canonical) and the series -> what makes an arriving value canonical. It raises
# one of our errors if the spelling is not known or belongs to another quantity.
Converter: TypeAlias = Callable[[str | None, SeriesConfiguration], Callable[[float], float]]

# A few tanks have tens of topics. Somebody who publishes to random ones must not fill the memory.
MOST_TOPICS = 4096
_LONGEST_TOPIC_REMEMBERED = 256
_MOST_UNITS_REMEMBERED = 64
_LONGEST_UNIT = 64
# The largest SenML packs of boards that were offline for a day are a tenth of this.
LONGEST_PAYLOAD = 1 << 20
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+", re.ASCII)


class Routed(NamedTuple):
    """What a message brought: readings in canonical units, and what could not be used.

    A reading with `Mark.ARRIVAL_TIME` that has a time has one that was counted from the arrival given to
    `route`. It, like a reading without a time, depends on the arrival: see `hangs_on_arrival`.
    """

    readings: list[Reading]
    problems: list[Problem]

    @property
    def hangs_on_arrival(self) -> bool:
        """Whether a redelivery must be given the arrival of the first delivery to be the same readings."""
        return any(one.observed_us is None or one.mark & Mark.ARRIVAL_TIME for one in self.readings)


class _Target(NamedTuple):
    """Where a value goes: its series, as an index, and what makes the value canonical."""

    series: int
    canonical: Callable[[float | bool | str], float]


class _Route:
    """One source as it applies to one topic; wildcards are filled in."""

    __slots__ = ("converter", "decode", "series", "tank", "targets", "unit")

    def __init__(
        self,
        decoder: Decoder,
        tank: str,
        series: dict[str, tuple[str, int, SeriesConfiguration | None]],
        unit: str | None,
        converter: Converter,
    ) -> None:
        self.decode = decoder.decode
        self.tank = tank
        # Name in the payload -> name of the series, its index, and what is known of it.
        self.series = series
        self.unit = unit
        self.converter = converter
        self.targets: dict[tuple[str, str | None], _Target] = {}

    def target(self, topic: str, name: str, unit: str | None) -> _Target | Problem:
        """Work out where a value of this name and unit goes, and remember it."""
        series_name, index, series = self.series[name]
        if series is None:
            return Problem(topic, Kind.SERIES, _undeclared(self.tank, series_name))
        if series.derived_from is not None:
            reason = f'series "{series.name}" of tank "{series.tank}" is computed from {series.derived_from}'
            return Problem(topic, Kind.SERIES, f"{reason} and cannot also arrive: take it out of this source")
        if series.quantity in TWO_STATE:
            canonical = _state(series)
        else:
            # The nearest says it: the payload, then the source, then the series, else it is canonical.
            spelling = unit or self.unit or series.unit
            if unit and len(unit) > _LONGEST_UNIT:
                # Not even asked for: whoever looks for the nearest spelling takes longer for a longer one.
                return Problem(
                    topic, Kind.UNIT, f"the payload's unit {shown(unit)} is longer than any unit is"
                )
            try:
                canonical = _measured(self.converter(spelling, series))
            except BrinebellError as error:
                where = "the payload's" if unit else "the configured"
                reason = f"{where} unit {shown(spelling or 'none')} of series {series.name}: {error}"
                return Problem(topic, Kind.UNIT, reason)
        if len(self.targets) >= _MOST_UNITS_REMEMBERED:
            self.targets.clear()
        target = self.targets[name, unit] = _Target(index, canonical)
        return target


class Router:
    """Makes readings of messages, for all sources of a configuration.

    Parameters
    ----------
    configuration
        Its sources and series.
    converter
        Finds the conversion to a series' canonical unit.

    Raises
    ------
    ConfigError
        If a topic filter is not one, a format is not known, or a name does not suit its format.
    """

    def __init__(self, configuration: Configuration, converter: Converter) -> None:
        self._converter = converter
        self._series = {
            (series.tank, series.name): (index, series) for index, series in enumerate(configuration.series)
        }
        self._sources: list[tuple[list[str], SourceConfiguration, Decoder]] = []
        for source in configuration.sources:
            levels = _filter_levels(source.topic)
            if source.format not in FORMATS:
                known = ", ".join(FORMATS)
                raise ConfigError(f'format "{source.format}" of {source.topic} is not known; {known} are')
            self._sources.append((levels, source, FORMATS[source.format](source)))
        self._routes: dict[str, tuple[_Route, ...]] = {}

    def filters(self) -> list[str]:
        """Return the topic filters to subscribe to.

        One that another one covers is left out: a broker may send a message once for each subscription
        that matches it (OASIS MQTT 5.0, 3.3.4), and arrival is the time of many.
        """
        every = {source.topic: levels for levels, source, _ in self._sources}
        return [
            topic
            for topic, levels in every.items()
            if not any(other != topic and _covers(wide, levels) for other, wide in every.items())
        ]

    def route(self, topic: str, payload: bytes, received_us: int) -> Routed:
        """Return what a message brings to all sources whose filter matches its topic.

        Parameters
        ----------
        topic, payload
            Any topic and any bytes: nothing makes it raise.
        received_us
            Arrival, microseconds since 1970 UTC; a redelivery is given that of the first delivery.
        """
        routes = self._routes.get(topic)
        if routes is None:
            routes = self._find_routes(topic)
        readings: list[Reading] = []
        problems: list[Problem] = []
        if len(payload) > LONGEST_PAYLOAD:
            reason = f"{len(payload)} bytes are too many: up to {LONGEST_PAYLOAD} are read"
            return Routed(readings, [Problem(topic, Kind.PAYLOAD, reason)] if routes else problems)
        for route in routes:
            try:
                observations, flaws = route.decode(topic, payload, received_us)
            except PayloadError as error:
                problems.append(Problem(topic, Kind.PAYLOAD, str(error)))
                continue
            if flaws:
                problems += [Problem(topic, kind, reason) for kind, reason in flaws]
            for name, value, unit, observed_us, is_relative in observations:
                target = route.targets.get((name, unit)) or route.target(topic, name, unit)
                if isinstance(target, Problem):
                    problems.append(target)
                    continue
                try:
                    number = target.canonical(value)
                except PayloadError as error:
                    problems.append(
                        Problem(topic, Kind.VALUE, f"{shown(name)}: {error}" if name else str(error))
                    )
                    continue
                mark = Mark.ARRIVAL_TIME if is_relative else Mark.NONE
                readings.append(Reading(target.series, observed_us, number, mark))
        return Routed(readings, problems)

    def _find_routes(self, topic: str) -> tuple[_Route, ...]:
        levels = topic.split("/")
        routes = []
        for pattern, source, decoder in self._sources:
            places = match(pattern, levels)
            if places is not None:
                routes.append(self._compile(source, decoder, places))
        found = tuple(routes)
        if len(topic) <= _LONGEST_TOPIC_REMEMBERED:
            if len(self._routes) >= MOST_TOPICS:
                self._routes.clear()
            self._routes[topic] = found
        return found

    def _compile(self, source: SourceConfiguration, decoder: Decoder, places: Sequence[str]) -> _Route:
        tank = _fill(source.tank, places)
        templates = dict(source.values)
        if source.series is not None:
            templates.setdefault("", source.series)
        series = {}
        for name, template in templates.items():
            series_name = _fill(template, places)
            series[name] = (series_name, *self._series.get((tank, series_name), (-1, None)))
        return _Route(decoder, tank, series, source.unit, self._converter)


def match(pattern: Sequence[str], levels: Sequence[str]) -> list[str] | None:
    """Match a topic against a filter, both as levels; return what the wildcards stand for, or None.

    Where # stands for several levels, they are joined by slashes; for none, it is "".

    References
    ----------
    OASIS MQTT 5.0, 4.7: # also matches its parent; a wildcard in the first level matches no topic that
    begins with $.
    """
    if pattern[0] in ("+", "#") and levels[0].startswith("$"):
        return None
    places: list[str] = []
    for position, level in enumerate(pattern):
        if level == "#":
            places.append("/".join(levels[position:]))
            return places
        if position >= len(levels):
            return None
        if level == "+":
            places.append(levels[position])
        elif level != levels[position]:
            return None
    return places if len(pattern) == len(levels) else None


def _covers(wide: Sequence[str], narrow: Sequence[str]) -> bool:
    """Whether every topic that `narrow` matches is matched by `wide` too; both are filters as levels."""
    if narrow[-1] == "#" and (wide[-1] != "#" or len(wide) > len(narrow)):
        return False
    return match(wide, narrow) is not None


def _filter_levels(topic: str) -> list[str]:
    levels = topic.split("/")
    stray = any(("+" in level or "#" in level) and len(level) > 1 for level in levels)
    if not topic or "\0" in topic or stray or "#" in levels[:-1]:
        raise ConfigError(
            f'"{shown(topic)}" is no topic filter: + and # stand alone between slashes, # only at the end, '
            "as in boards/+/temperature and boards/#"
        )
    return levels


def _fill(template: str, places: Sequence[str]) -> str:
    """Put what the wildcards stand for in the place of {1}, {2} and so on."""
    if "{" not in template:
        return template
    return re.sub(
        r"\{([1-9]\d?)\}",
        lambda found: places[int(found[1]) - 1] if int(found[1]) <= len(places) else found[0],
        template,
    )


def _state(series: SeriesConfiguration) -> Callable[[float | bool | str], float]:
    def canonical(value: float | bool | str) -> float:
        return state_value(value, series)

    return canonical


def _measured(convert: Callable[[float], float]) -> Callable[[float | bool | str], float]:
    def canonical(value: float | bool | str) -> float:
        if type(value) is not float:
            value = number_value(value)
        try:
            converted = convert(value)
        except (ArithmeticError, ValueError) as error:
            raise PayloadError(f"{value:g} cannot be converted: {error}") from error
        # The difference of a number and itself is zero, unless it is infinite or not a number.
        if converted - converted != 0.0:
            raise PayloadError(f"{value:g} has no finite value in the series' unit")
        return converted

    return canonical


def _undeclared(tank: str, name: str) -> str:
    """Say which lines of the configuration would declare a series."""
    header = f"[tanks.{_toml_key(tank)}.series.{_toml_key(name)}]"
    quantity = name if name in QUANTITIES else "temperature"
    others = "" if name in QUANTITIES else f" (or {', '.join(one for one in QUANTITIES if one != quantity)})"
    return (
        f"no series {shown(name)} of tank {shown(tank)} is declared; add the lines {header} and "
        f'quantity = "{quantity}"{others} to the configuration, or narrow the topic of this source'
    )


def _toml_key(name: str) -> str:
    return name if _BARE_KEY.fullmatch(name) and len(name) <= 60 else json.dumps(shown(name))
