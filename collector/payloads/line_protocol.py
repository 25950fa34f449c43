"""InfluxDB line protocol, version 2: points with fields, one per line, become observations.

A source wants a field by its key, `temp`, or by a line's own beginning and the key,
`water,probe=sump temp`: then the measurement must be the same and the point must have those tags.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import NamedTuple

from collector.configuration import SourceConfiguration
from collector.errors import ConfigError, PayloadError
from collector.payloads.decoder import Decoded, Flaw, Kind
from collector.payloads.names import nothing_wanted, two_names
from collector.payloads.shown import shown
from collector.readings import Observation

# A backslash takes their meaning from these characters, and stands for itself before all others. Each
# pattern can match a text in one way only, so that none takes longer than its length.
_MEASUREMENT = re.compile(r"(?:[^, \\]|\\[, ]|\\(?![, ]))+")
_KEY = re.compile(r"(?:[^,= \\]|\\[,= ]|\\(?![,= ]))+")
_STRING = re.compile(r'"((?:[^"\\]|\\["\\]|\\(?!["\\]))*)"')
_BARE = re.compile(r"[^, ]+")
_SPACES = re.compile(r" +")
_UNESCAPE_MEASUREMENT = re.compile(r"\\([, ])")
_UNESCAPE_KEY = re.compile(r"\\([,= ])")
_UNESCAPE_STRING = re.compile(r'\\(["\\])')

_FLOAT = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_INTEGER = re.compile(r"([+-]?\d{1,20})i", re.ASCII)
_UNSIGNED = re.compile(r"(\d{1,20})u", re.ASCII)
_TIMESTAMP = re.compile(r"-?\d{1,19}", re.ASCII)
_BOOLEANS: Mapping[str, bool] = dict.fromkeys(("t", "T", "true", "True", "TRUE"), True) | dict.fromkeys(
    ("f", "F", "false", "False", "FALSE"), False
)
_NANOSECONDS_PER_MICROSECOND = 1000


class Point(NamedTuple):
    """One line: fields that cannot be read are in `flaws` instead of `fields`.

    `observed_us` is None where the line has no timestamp.
    """

    measurement: str
    tags: Mapping[str, str]
    fields: Mapping[str, float | bool | str]
    observed_us: int | None
    flaws: tuple[Flaw, ...]


class _Wanted(NamedTuple):
    """A field that a source wants: None and no tags where any point's field of that key is meant."""

    name: str
    measurement: str | None
    tags: Mapping[str, str]
    key: str

    def is_in(self, point: Point, key: str) -> bool:
        return (
            self.key == key
            and self.measurement in (None, point.measurement)
            and self.tags.items() <= point.tags.items()
        )


class LineProtocolDecoder:
    """Reads payloads of one or more lines, timestamps in nanoseconds."""

    def __init__(self, source: SourceConfiguration) -> None:
        self._wanted = sorted(
            map(_wanted, source.values),
            key=lambda one: (one.measurement is not None, len(one.tags)),
            reverse=True,
        )
        self._takes_any = source.series is not None

    def decode(self, topic: str, payload: bytes, received_us: int) -> Decoded:  # noqa: ARG002
        """Return the wanted fields of all lines that can be read; see `Decoder`."""
        observations: list[Observation] = []
        flaws: list[Flaw] = []
        answering: dict[str, str] = {}
        there: dict[str, None] = {}
        for number, line in _lines(payload):
            try:
                point = parse_line(line)
            except PayloadError as error:
                flaws.append(Flaw(Kind.PAYLOAD, f"line {number}: {error}"))
                continue
            flaws.extend(Flaw(kind, f"line {number}: {reason}") for kind, reason in point.flaws)
            for key, value in point.fields.items():
                name = self._find(point, key)
                full = _full_name(point, key)
                there[full] = None
                if name is None:
                    continue
                if answering.setdefault(name, full) != full:
                    flaws.append(Flaw(Kind.NAME, two_names(name, answering[name], full)))
                    continue
                observations.append(Observation(name, value, None, point.observed_us))
        if not observations and not flaws:
            if not there:
                raise PayloadError(f"{shown(payload)} holds no point: name field=1.5 is one")
            flaws.append(Flaw(Kind.NAME, nothing_wanted((one.name for one in self._wanted), there)))
        return Decoded(observations, flaws)

    def _find(self, point: Point, key: str) -> str | None:
        for one in self._wanted:
            if one.is_in(point, key):
                return one.name
        return "" if self._takes_any else None


def parse_line(line: bytes) -> Point:
    r"""Read one line, without its newline.

    Raises PayloadError if it is no point at all. A field that has no finite number, boolean or string, and
    a timestamp that is none, are flaws of a point that is otherwise good.

    Examples
    --------
    >>> parse_line(rb'water\ level,tank=reef cm=21.5,ok=t 1790000000000000000').measurement
    'water level'
    """
    try:
        text = line.decode("utf-8")
    except UnicodeDecodeError as error:
        raise PayloadError(f"{shown(line)} is no UTF-8 text: {error.reason}") from error
    measurement, tags, at = _series_key(text)
    at = _skip_spaces(text, at, "a space and the fields")
    fields: dict[str, float | bool | str] = {}
    flaws: list[Flaw] = []
    while True:
        key, at = _name(text, at, "field")
        if text[at : at + 1] != "=":
            raise PayloadError(f"after the field {shown(key)} comes {_rest(text, at)}: = is needed")
        found = _STRING.match(text, at + 1)
        if found is not None:
            fields[key] = _UNESCAPE_STRING.sub(r"\1", found[1])
        else:
            found = _BARE.match(text, at + 1)
            if found is None or found[0].startswith('"'):
                raise PayloadError(f"the field {shown(key)} has no value, or a string that does not end")
            value = _bare_value(found[0])
            if value is None:
                reason = f"the field {shown(key)} is {shown(found[0])}, which is no value"
                flaws.append(Flaw(Kind.VALUE, reason))
            else:
                fields[key] = value
        at = found.end()
        if text[at : at + 1] != ",":
            break
        at += 1
    observed_us = None
    rest = text[at:]
    if rest.strip(" "):
        if not rest.startswith(" "):
            raise PayloadError(f"{shown(rest)} follows a string: a comma or a space is needed")
        observed_us = _observed_us(rest.strip(" "), flaws)
    return Point(measurement, tags, fields, observed_us, tuple(flaws))


def _lines(payload: bytes) -> Iterator[tuple[int, bytes]]:
    """Lines with their numbers, without blank ones and comments."""
    for number, line in enumerate(payload.split(b"\n"), start=1):
        stripped = line.strip(b" \t\r")
        if stripped and not stripped.startswith(b"#"):
            yield number, stripped


def _series_key(text: str) -> tuple[str, dict[str, str], int]:
    """Read measurement and tags; return them and where they end."""
    found = _MEASUREMENT.match(text)
    if found is None:
        raise PayloadError(f"{shown(text)} begins with no measurement")
    measurement = _UNESCAPE_MEASUREMENT.sub(r"\1", found[0])
    _check_name(measurement, "measurement")
    at = found.end()
    tags: dict[str, str] = {}
    while text[at : at + 1] == ",":
        key, at = _name(text, at + 1, "tag")
        value = _KEY.match(text, at + 1) if text[at : at + 1] == "=" else None
        if value is None:
            raise PayloadError(f"the tag {shown(key)} has no value: leave the tag out")
        tags[key] = _UNESCAPE_KEY.sub(r"\1", value[0])
        at = value.end()
    return measurement, tags, at


def _name(text: str, at: int, what: str) -> tuple[str, int]:
    found = _KEY.match(text, at)
    if found is None:
        raise PayloadError(f"the name of a {what} is missing before {_rest(text, at)}")
    name = _UNESCAPE_KEY.sub(r"\1", found[0])
    _check_name(name, what)
    return name, found.end()


def _check_name(name: str, what: str) -> None:
    if name.startswith("_"):
        raise PayloadError(f"the {what} {shown(name)} begins with _, which is kept for the database")


def _rest(text: str, at: int) -> str:
    return shown(text[at:]) if at < len(text) else "nothing"


def _skip_spaces(text: str, at: int, needed: str) -> int:
    found = _SPACES.match(text, at)
    if found is None:
        raise PayloadError(f"after {shown(text[:at])} comes {_rest(text, at)}: {needed} are needed")
    return found.end()


def _bare_value(text: str) -> float | bool | None:
    """The value of a field that is no string; None if it is none."""
    boolean = _BOOLEANS.get(text)
    if boolean is not None:
        return boolean
    if _FLOAT.fullmatch(text):
        value = float(text)
        return value if value - value == 0.0 else None
    found = _INTEGER.fullmatch(text)
    if found is not None:
        whole = int(found[1])
        return float(whole) if -(2**63) <= whole < 2**63 else None
    found = _UNSIGNED.fullmatch(text)
    if found is not None:
        whole = int(found[1])
        return float(whole) if whole < 2**64 else None
    return None


def _observed_us(text: str, flaws: list[Flaw]) -> int | None:
    if _TIMESTAMP.fullmatch(text) and -(2**63) <= int(text) < 2**63:
        return int(text) // _NANOSECONDS_PER_MICROSECOND
    reason = f"{shown(text)} is no timestamp in nanoseconds; arrival stands for it"
    flaws.append(Flaw(Kind.TIME, reason))
    return None


def _full_name(point: Point, key: str) -> str:
    tags = "".join(f",{tag}={value}" for tag, value in sorted(point.tags.items()))
    return f"{point.measurement}{tags} {key}"


def _wanted(name: str) -> _Wanted:
    """Read what a source wants: a field's key, or measurement and tags, a space, and the key."""
    try:
        if _KEY.fullmatch(name):
            key, _ = _name(name, 0, "field")
            return _Wanted(name, None, {}, key)
        measurement, tags, at = _series_key(name)
        key, end = _name(name, _skip_spaces(name, at, "a space and a field"), "field")
        if end != len(name):
            raise PayloadError(f"after the field comes {shown(name[end:])}")
    except PayloadError as error:
        raise ConfigError(
            f'"{name}" names no field of line protocol: {error}; write "temp" or "water,probe=sump temp"'
        ) from error
    return _Wanted(name, measurement, tags, key)
