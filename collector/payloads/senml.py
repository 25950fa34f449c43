"""SenML packs (RFC 8428), in JSON or CBOR: records with base fields, resolved, become observations.

`resolve` does what the RFC calls resolving; the decoder then picks the records that a source wants.
"""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Mapping, Sequence
from decimal import Decimal
from enum import StrEnum
from types import MappingProxyType
from typing import Any, NamedTuple, Never

import cbor2
import orjson

from collector.configuration import SourceConfiguration
from collector.errors import PayloadError
from collector.payloads.decoder import Decoded, Flaw, Kind
from collector.payloads.names import Names, two_names
from collector.payloads.shown import shown
from collector.readings import Observation
from rules import MICROSECONDS

# RFC 8428, 4.4: this is version 10; lower numbers are older drafts, which read the same.
_NEWEST_VERSION = 10
# RFC 8428, 4.5.3: smaller times are relative to now, in seconds.
_SMALLEST_ABSOLUTE_S = 2**28
_FARTHEST_S = 2.0**62 / MICROSECONDS
# RFC 8428, 4.5.1: characters of a resolved name.
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*", re.ASCII)
# RFC 8428, 6, table 4: labels in CBOR.
_LABELS = MappingProxyType(
    {
        -1: "bver",
        -2: "bn",
        -3: "bt",
        -4: "bu",
        -5: "bv",
        -6: "bs",
        0: "n",
        1: "u",
        2: "v",
        3: "vs",
        4: "vb",
        5: "s",
        6: "t",
        7: "ut",
        8: "vd",
    }
)
_BASES = frozenset({"bver", "bn", "bt", "bu", "bv", "bs"})
_KNOWN = frozenset(_LABELS.values())
_VALUES = ("v", "vs", "vb", "vd")
# The first byte of a CBOR array, or of a tag around it; JSON begins with [ or a space.
_CBOR_FIRST = range(0x80, 0xDC)


class Timing(StrEnum):
    """What a record's time hangs on."""

    ABSENT = "absent"  # none, or exactly now: arrival stands for it
    RELATIVE = "relative"  # so long before or after arrival
    ABSOLUTE = "absolute"


class Record(NamedTuple):
    """A resolved record (RFC 8428, 4.6): no base fields, the whole name, an absolute time.

    `value` is None in a record that holds only a sum. `update_s` is the longest time to the next one.
    """

    name: str
    unit: str | None
    time_us: int
    timing: Timing
    value: float | bool | str | bytes | None
    sum: float | None
    update_s: float | None


class _Base:
    """Base fields as they stand at a record: each stays until it is changed."""

    __slots__ = ("name", "seconds", "sum", "unit", "value")

    def __init__(self) -> None:
        self.name = ""
        self.seconds = 0.0
        self.unit: str | None = None
        self.value: float | None = None
        self.sum: float | None = None

    def take(self, record: Mapping[str, object]) -> None:
        """Take over the base fields of a record; PayloadError if one is not what it must be."""
        version = record.get("bver", _NEWEST_VERSION)
        if type(version) is not int or version < 1:
            raise PayloadError(f"bver {shown(version)} is no version: a whole number above 0 is needed")
        if version > _NEWEST_VERSION:
            raise PayloadError(f"it is SenML version {version}; up to {_NEWEST_VERSION} can be read")
        if "bn" in record:
            self.name = _text(record, "bn") or ""
        if "bu" in record:
            self.unit = _text(record, "bu")
        if "bt" in record:
            self.seconds = _number(record, "bt") or 0.0
        if "bv" in record:
            self.value = _number(record, "bv")
        if "bs" in record:
            self.sum = _number(record, "bs")


def resolve(payload: bytes, received_us: int) -> tuple[list[Record], list[Flaw]]:
    """Resolve a pack, JSON or CBOR by its first byte.

    Parameters
    ----------
    payload
        The pack.
    received_us
        What now is for relative times, microseconds since 1970 UTC.

    Returns
    -------
    tuple
        Records in order of time, and a flaw for each record that cannot be used.

    Raises
    ------
    PayloadError
        If it is no pack, or if what is wrong leaves the meaning of all records in doubt: a base field that
        cannot be read, a version that is not known, a field that must be understood and is not.

    References
    ----------
    RFC 8428, Sensor Measurement Lists, sections 4 to 6.
    """
    records: list[Record] = []
    flaws: list[Flaw] = []
    base = _Base()
    for position, fields in enumerate(_parse(payload), start=1):
        if not isinstance(fields, Mapping):
            flaws.append(Flaw(Kind.VALUE, f"record {position} is {shown(fields)}: an object is needed"))
            continue
        for label in fields:
            # RFC 8428, 4.4: fields that are not known are ignored, but not those.
            if label not in _KNOWN and isinstance(label, str) and label.endswith("_"):
                raise PayloadError(
                    f"record {position} has the field {shown(label)}, which must be understood and is not"
                )
        try:
            base.take(fields)
        except PayloadError as error:
            raise PayloadError(f"record {position}: {error}") from error
        if _BASES.issuperset(fields):
            continue  # it only carries base fields for those that follow
        found = _resolve_one(fields, base, received_us)
        if isinstance(found, Flaw):
            flaws.append(Flaw(found.kind, f"record {position}: {found.reason}"))
        else:
            records.append(found)
    records.sort(key=lambda record: record.time_us)
    return records, flaws


class SenmlDecoder:
    """Reads SenML packs. A source may want a record by its whole name or by the end of it."""

    def __init__(self, source: SourceConfiguration) -> None:
        self._names = Names(source.values, takes_any=source.series is not None)

    def decode(self, topic: str, payload: bytes, received_us: int) -> Decoded:  # noqa: ARG002
        """Return the wanted records' values, oldest first; see `Decoder`."""
        records, flaws = resolve(payload, received_us)
        observations = []
        answering: dict[str, str] = {}
        for record in records:
            name = self._names.find(record.name)
            if name is None or record.value is None:
                continue
            if answering.setdefault(name, record.name) != record.name:
                flaws.append(Flaw(Kind.NAME, two_names(name, answering[name], record.name)))
                continue
            if isinstance(record.value, bytes):
                flaws.append(Flaw(Kind.VALUE, f"{shown(record.name)} is data: a number or state is needed"))
                continue
            observed_us = None if record.timing is Timing.ABSENT else record.time_us
            observations.append(
                Observation(name, record.value, record.unit, observed_us, record.timing is Timing.RELATIVE)
            )
        if not observations and not flaws:
            there = dict.fromkeys(record.name for record in records if record.value is not None)
            flaws.append(Flaw(Kind.NAME, self._names.missing(there)))
        return Decoded(observations, flaws)


def _parse(payload: bytes) -> Sequence[object]:
    """Return the records of a pack, labels as text."""
    is_cbor = bool(payload) and payload[0] in _CBOR_FIRST
    if is_cbor:
        pack = _parse_cbor(payload)
    else:
        try:
            pack = orjson.loads(payload)
        except orjson.JSONDecodeError as error:
            raise PayloadError(f"{shown(payload)} is no SenML, neither JSON ({error}) nor CBOR") from error
    if not isinstance(pack, list | tuple):
        raise PayloadError(f"the pack is {shown(pack)}: SenML is an array of records")
    if not is_cbor:
        return pack
    return [
        {_LABELS.get(label, label) if type(label) is int else label: value for label, value in one.items()}
        if isinstance(one, Mapping)
        else one
        for one in pack
    ]


def _refuse_tag(*_: object) -> Never:
    raise cbor2.CBORDecodeError("a tag that has no place in SenML")


# RFC 8428, 6 allows numbers to be decimal fractions (tag 4). All other tags that cbor2 would make into
# dates, expressions, mails or things that hold themselves have no business in a payload from anywhere.
_TAGS: Any = dict.fromkeys(
    (0, 1, 2, 3, 5, 25, 28, 29, 30, 35, 36, 37, 52, 54, 100, 256, 258, 260, 261, 1004, 43000), _refuse_tag
)


def _parse_cbor(payload: bytes) -> object:
    stream = io.BytesIO(payload)
    try:
        pack = cbor2.CBORDecoder(stream, semantic_decoders=_TAGS, max_depth=16).decode()
    except cbor2.CBORDecodeError as error:
        raise PayloadError(f"{shown(payload)} is no CBOR: {error}") from error
    if stream.tell() != len(payload):
        raise PayloadError(f"{len(payload) - stream.tell()} bytes follow the end of the pack")
    return pack


def _resolve_one(fields: Mapping[str, object], base: _Base, received_us: int) -> Record | Flaw:
    """Resolve one record that is more than base fields."""
    try:
        name = base.name + (_text(fields, "n") or "")
        unit = _text(fields, "u") or base.unit
    except PayloadError as error:
        return Flaw(Kind.NAME, str(error))
    if not _NAME.fullmatch(name):
        return Flaw(Kind.NAME, f"{shown(name)} is no name: letters, digits and - : . / _ are")
    try:
        seconds = base.seconds + (_number(fields, "t") or 0.0)
        update_s = _number(fields, "ut")
    except PayloadError as error:
        return Flaw(Kind.TIME, f"{shown(name)}: {error}")
    if not -_FARTHEST_S < seconds < _FARTHEST_S:
        return Flaw(Kind.TIME, f"{shown(name)}: the time {seconds:g} s is of no day")
    timing, time_us = Timing.ABSOLUTE, round(seconds * MICROSECONDS)
    if seconds < _SMALLEST_ABSOLUTE_S:
        timing = Timing.RELATIVE if seconds else Timing.ABSENT
        time_us += received_us
    try:
        value, total = _value(fields, base), _sum(fields, base)
    except PayloadError as error:
        return Flaw(Kind.VALUE, f"{shown(name)}: {error}")
    if value is None and total is None:
        return Flaw(Kind.VALUE, f"{shown(name)} has no value: v, vs, vb, vd or s is needed")
    return Record(name, unit, time_us, timing, value, total, update_s)


def _value(fields: Mapping[str, object], base: _Base) -> float | bool | str | bytes | None:
    given = [label for label in _VALUES if label in fields]
    if len(given) > 1:
        raise PayloadError(f"has more than one value: {', '.join(given)}")
    if not given:
        # RFC 8428, 4.5.4: of base value and value, the missing one counts as 0; a sum needs no value.
        return base.value if "s" not in fields else None
    label = given[0]
    value = fields[label]
    if label == "v":
        return _finite((_number(fields, "v") or 0.0) + (base.value or 0.0), "v")
    if label == "vb" and isinstance(value, bool):
        return value
    if label == "vs" and isinstance(value, str):
        return value
    if label == "vd" and isinstance(value, bytes):
        return value
    if label == "vd" and isinstance(value, str):
        try:
            # RFC 8428, 4.3: base64 with the URL-safe alphabet, without padding.
            return base64.b64decode(value + "=" * (-len(value) % 4), altchars=b"-_", validate=True)
        except ValueError as error:
            raise PayloadError(f"vd {shown(value)} is no base64: {error}") from error
    kind = {"vb": "true or false", "vs": "a text", "vd": "data"}[label]
    raise PayloadError(f"{label} is {shown(value)}: {kind} is needed")


def _sum(fields: Mapping[str, object], base: _Base) -> float | None:
    if "s" not in fields and base.sum is None:
        return None
    return _finite((_number(fields, "s") or 0.0) + (base.sum or 0.0), "s")


def _text(fields: Mapping[str, object], label: str) -> str | None:
    value = fields.get(label)
    if label in fields and not isinstance(value, str):
        raise PayloadError(f"{label} is {shown(value)}: a text is needed")
    return value if isinstance(value, str) else None


def _number(fields: Mapping[str, object], label: str) -> float | None:
    if label not in fields:
        return None
    value = fields[label]
    if isinstance(value, bool) or not isinstance(value, int | float | Decimal):
        raise PayloadError(f"{label} is {shown(value)}: a number is needed")
    try:
        return _finite(float(value), label)
    except (OverflowError, ValueError) as error:
        # A decimal fraction may be beyond every float, or a signalling NaN.
        raise PayloadError(f"{label} is {shown(value)}: a finite number is needed") from error


def _finite(number: float, label: str) -> float:
    # The difference of a number and itself is zero, unless it is infinite or not a number.
    if number - number != 0.0:
        raise PayloadError(f"{label} is {shown(number)}: a finite number is needed")
    return number
