"""JSON payloads: one RFC 6901 JSON Pointer per series, and one to the time if there is one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import orjson
from jsonpointer import EndOfList, JsonPointer, JsonPointerException

from collector.configuration import SourceConfiguration
from collector.errors import ConfigError, PayloadError
from collector.payloads.decoder import Decoded, Flaw, Kind
from collector.payloads.names import nothing_wanted
from collector.payloads.shown import shown
from collector.payloads.times import TIME_FORMATS
from collector.readings import Observation

_MISSING = object()
# A tuple: an `isinstance` with a union of types takes twice as long. In Python a boolean is an int too.
_PLAIN = (float, str, bool)


class _Pointer:
    """A JSON Pointer made ready: jsonpointer reads its text and steps through arrays.

    Steps through objects, which are nearly all, are taken here: a tenth of the time.
    """

    __slots__ = ("_parts", "_pointer")

    def __init__(self, text: str) -> None:
        try:
            self._pointer: Any = JsonPointer(text)
        except JsonPointerException as error:
            raise ConfigError(
                f'"{text}" is no JSON Pointer (RFC 6901): {error}; write "/probes/ph"'
            ) from error
        self._parts: tuple[str, ...] = tuple(self._pointer.parts)

    def find(self, document: object) -> object:
        """Return what the pointer points to, `_MISSING` where there is nothing."""
        for part in self._parts:
            if type(document) is dict:
                document = document.get(part, _MISSING)
                if document is _MISSING:
                    return _MISSING
            else:
                try:
                    document = self._pointer.walk(document, part)
                except JsonPointerException:
                    return _MISSING
                if isinstance(document, EndOfList):
                    return _MISSING
        return document


class JsonDecoder:
    """Reads JSON payloads; a value is a number, a text with a number or a state, or a boolean.

    A value that is missing is no flaw as long as another one is there: boards leave out what they did
    not measure.
    """

    def __init__(self, source: SourceConfiguration) -> None:
        self._pointers = [(name, _Pointer(name)) for name in source.values]
        if source.series is not None and not self._pointers:
            self._pointers = [("", _Pointer(""))]
        self._time = None if source.time is None else _Pointer(source.time)
        self._time_text = source.time
        self._to_us = TIME_FORMATS[source.time_format]

    def decode(self, topic: str, payload: bytes, received_us: int) -> Decoded:  # noqa: ARG002
        """Return the values that the pointers find; see `Decoder`."""
        try:
            document = orjson.loads(payload)
        except orjson.JSONDecodeError as error:
            raise PayloadError(f"{shown(payload)} is no JSON: {error}") from error
        flaws: list[Flaw] = []
        observed_us = None if self._time is None else self._observed_us(self._time.find(document), flaws)
        observations = []
        is_empty = True
        for name, pointer in self._pointers:
            value = pointer.find(document)
            if isinstance(value, _PLAIN):
                observations.append(Observation(name, value, None, observed_us))
            elif isinstance(value, int):
                observations.append(Observation(name, float(value), None, observed_us))
            elif value is not _MISSING:
                is_empty = False
                where = f"{shown(name)} is" if name else "the payload is"
                flaws.append(Flaw(Kind.VALUE, f"{where} {shown(value)}: a number or a state is needed"))
        if not observations and is_empty:
            wanted = [name for name, _ in self._pointers]
            flaws.append(Flaw(Kind.NAME, nothing_wanted(wanted, _names(document))))
        return Decoded(observations, flaws)

    def _observed_us(self, found: object, flaws: list[Flaw]) -> int | None:
        if found is _MISSING:
            reason = f"there is no time at {self._time_text}"
        else:
            try:
                return self._to_us(found)
            except PayloadError as error:
                reason = f"the time at {self._time_text}: {error}"
        flaws.append(Flaw(Kind.TIME, f"{reason}; arrival stands for it"))
        return None


def _names(document: object) -> Sequence[str]:
    """The pointers of one step that a document has."""
    return [f"/{name}" for name in document] if isinstance(document, dict) else [shown(document)]
