"""One suite over every payload format: units handled, bad payloads named, nothing lost, nothing raised.

A new format is covered by a row in `CASES`; a test sees to it that there is one.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import cbor2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.configuration import SourceConfiguration
from collector.errors import PayloadError
from collector.payloads import FORMATS, Decoded, Kind
from collector.readings import Mark, Reading
from collector.routing import Router
from tests.payloads.sources import (
    ALL_SERIES,
    LEAK,
    RECEIVED_US,
    TEMPERATURE,
    configuration,
    converter,
    source,
)

_TEMPERATURE = ALL_SERIES.index(TEMPERATURE)
_LEAK = ALL_SERIES.index(LEAK)
_AT_US = 1_789_999_000_000_000


@dataclass(frozen=True)
class Case:
    """A source of one format, with payloads.

    `fahrenheit` says 77 degF, which is 25 degC, and brings no unit of its own. `state` is a closed contact,
    under the same source turned to the series `leak`. `timed` is 25 degC at `_AT_US`. `mixed` holds a good
    25 degC among bad things. `bad` are payloads with what the reason must say.
    """

    format: str
    wanted: dict[str, Any]
    fahrenheit: bytes
    state: bytes
    bad: Sequence[tuple[bytes, Kind, str]]
    timed: bytes | None = None
    mixed: bytes | None = None
    time: dict[str, str] = field(default_factory=dict)
    topic: str = "boards/sump/probes/temperature"

    def router(self, series: str = "temperature", **more: Any) -> Router:
        """A router with this source alone, turned to a series."""
        return Router(configuration([self.source(series, **more)]), converter)

    def source(self, series: str = "temperature", **more: Any) -> SourceConfiguration:
        wanted = {
            key: series if key == "series" else dict.fromkeys(value, series)
            for key, value in self.wanted.items()
        }
        return source(self.format, self.topic, **wanted, **more)


CASES = [
    Case(
        "number",
        {"series": "temperature"},
        fahrenheit=b"77",
        state=b"CLOSED",
        bad=[
            (b"", Kind.PAYLOAD, "the payload is empty"),
            (b"nan", Kind.PAYLOAD, "nan is no finite number"),
            (b"-inf", Kind.PAYLOAD, "-inf is no finite number"),
            (b"25,3", Kind.VALUE, "25,3 is no finite number: write the decimal point as a point"),
            (b"\xff\x00", Kind.PAYLOAD, r"\xff\x00 is neither a bare number nor a word"),
            (b"\0" * (1 << 21), Kind.PAYLOAD, "2097152 bytes are too many"),
        ],
    ),
    Case(
        "json",
        {"values": {"/probes/t": ""}},
        fahrenheit=b'{"probes": {"t": 77}}',
        state=b'{"probes": {"t": true}}',
        timed=b'{"probes": {"t": 25}, "at": "2026-09-21T13:56:40Z"}',
        time={"time": "/at"},
        mixed=b'{"probes": {"t": 25}, "at": "yesterday"}',
        bad=[
            (b'{"probes": {"t": 25}', Kind.PAYLOAD, "is no JSON"),
            (b'{"probes": {"t": NaN}}', Kind.PAYLOAD, "is no JSON"),
            (b'{"probes": {"t": "warm"}}', Kind.VALUE, "/probes/t: warm is no finite number"),
            (b'{"probes": {"t": null}}', Kind.VALUE, "/probes/t is null"),
            (b'{"probes": {"T": 25}}', Kind.NAME, "none of /probes/t is in it"),
            (b"25", Kind.NAME, "none of /probes/t is in it"),
        ],
    ),
    Case(
        "senml",
        {"values": {"temperature": ""}},
        fahrenheit=b'[{"bn": "sump/", "n": "temperature", "v": 77}]',
        state=b'[{"bn": "sump/", "n": "temperature", "vb": true}]',
        timed=b'[{"bn": "sump/", "bt": 1789999000, "n": "temperature", "u": "Cel", "v": 25}]',
        mixed=b'[{"n": "ph", "v": "acid"}, {"n": "temperature", "u": "K", "v": 298.15}, 5]',
        bad=[
            (b"[{", Kind.PAYLOAD, "is no SenML"),
            (b"\x81\xa1", Kind.PAYLOAD, "is no CBOR"),
            (b'[{"n": "temperature", "v": null}]', Kind.VALUE, "record 1: temperature: v is null"),
            (cbor2.dumps([{0: "temperature", 2: float("nan")}]), Kind.VALUE, "v is nan"),
            (b'[{"n": "temperature", "vs": "warm"}]', Kind.VALUE, "temperature: warm is no finite number"),
            (b'[{"n": "temperature", "u": "pH", "v": 8}]', Kind.UNIT, "pH is no unit of a temperature"),
            (b'[{"n": "temp", "v": 25}]', Kind.NAME, "none of temperature is in it; it has temp"),
        ],
    ),
    Case(
        "homie",
        {"series": "temperature"},
        fahrenheit=b"77",
        state=b"true",
        topic="homie/5/sump/probes/temperature",
        bad=[
            (b"\0", Kind.PAYLOAD, r"\x00 is neither a bare number nor a word"),
            (b"Infinity", Kind.PAYLOAD, "Infinity is no finite number"),
            (b"warm", Kind.VALUE, "warm is no finite number"),
        ],
    ),
    Case(
        "line_protocol",
        {"values": {"t": ""}},
        fahrenheit=b"water,probe=sump t=77",
        state=b"water,probe=sump t=T",
        timed=b"water,probe=sump t=25 1789999000000000000",
        mixed=b"water,probe=sump t=25,ph=acid\nwater t=",
        bad=[
            (b"# nothing", Kind.PAYLOAD, "holds no point"),
            (b"water t=", Kind.PAYLOAD, "line 1: the field t has no value"),
            (b"water t=nan", Kind.VALUE, "line 1: the field t is nan"),
            (b'water t="warm"', Kind.VALUE, "t: warm is no finite number"),
            (b"water temp=25", Kind.NAME, "none of t is in it; it has water temp"),
        ],
    ),
]
every_format = pytest.mark.parametrize("case", CASES, ids=[case.format for case in CASES])


def test_every_format_has_a_case() -> None:
    assert [case.format for case in CASES] == list(FORMATS)


@every_format
def test_unit_of_the_source_is_converted(case: Case) -> None:
    readings, problems = case.router(unit="degF").route(case.topic, case.fahrenheit, RECEIVED_US)
    assert [(one.series, one.observed_us, one.mark) for one in readings] == [(_TEMPERATURE, None, Mark.NONE)]
    assert readings[0].value == pytest.approx(25.0)
    assert not problems


@every_format
def test_unit_of_the_series_is_converted_when_the_source_has_none(case: Case) -> None:
    (reading,) = case.router("sump_fahrenheit").route(case.topic, case.fahrenheit, RECEIVED_US).readings
    assert reading.value == pytest.approx(25.0)


@every_format
def test_value_without_any_unit_is_canonical(case: Case) -> None:
    (reading,) = case.router().route(case.topic, case.fahrenheit, RECEIVED_US).readings
    assert reading.value == 77.0


@every_format
def test_state_is_read_and_no_unit_touches_it(case: Case) -> None:
    assert case.router("leak", unit="degF").route(case.topic, case.state, RECEIVED_US) == (
        [Reading(_LEAK, None, 1.0)],
        [],
    )


@every_format
def test_time_of_the_payload_is_kept(case: Case) -> None:
    if case.timed is None:
        assert case.format in ("number", "homie")  # their payloads have no place for one
        return
    readings, problems = case.router(**case.time).route(case.topic, case.timed, RECEIVED_US)
    assert readings == [Reading(_TEMPERATURE, _AT_US, 25.0)]
    assert not problems


@every_format
def test_bad_payload_is_named_and_brings_no_reading(case: Case) -> None:
    router = case.router()
    for payload, kind, reason in case.bad:
        readings, (problem,) = router.route(case.topic, payload, RECEIVED_US)
        assert not readings
        assert (problem.topic, problem.kind) == (case.topic, kind)
        assert reason in problem.reason


@every_format
def test_good_values_of_a_payload_survive_the_bad_ones(case: Case) -> None:
    if case.mixed is None:
        assert case.format in ("number", "homie")  # their payloads hold one value
        return
    readings, problems = case.router(**case.time).route(case.topic, case.mixed, RECEIVED_US)
    assert [(one.series, one.observed_us, one.value) for one in readings] == [(_TEMPERATURE, None, 25.0)]
    assert problems


@every_format
@given(payload=st.binary(max_size=80), topic=st.text(max_size=20), received_us=st.integers(0, 2**61))
def test_no_payload_raises_anything_but_a_payload_error(
    case: Case, payload: bytes, topic: str, received_us: int
) -> None:
    decoder = FORMATS[case.format](case.source(**case.time))
    try:
        decoded = decoder.decode(topic, payload, received_us)
    except PayloadError:
        return
    _check(decoded)


@every_format
@given(data=st.data())
def test_no_damage_to_a_good_payload_raises_anything_but_a_payload_error(
    case: Case, data: st.DataObject
) -> None:
    payload = bytearray(
        data.draw(st.sampled_from([one for one in (case.timed, case.mixed, case.state) if one]))
    )
    for _ in range(data.draw(st.integers(1, 4))):
        position = data.draw(st.integers(0, len(payload)))
        payload[position : position + data.draw(st.integers(0, 3))] = data.draw(
            st.binary(max_size=3)
            | st.sampled_from([b"{", b"[", b'"', b"1e999", b"null", b"\\", b"\n", b"=", b"_"])
        )
    decoder = FORMATS[case.format](case.source(**case.time))
    try:
        decoded = decoder.decode(case.topic, bytes(payload), RECEIVED_US)
    except PayloadError:
        return
    _check(decoded)


# Those that cbor2 gives a meaning, and one that it does not.
_TAGS = (0, 1, 2, 3, 4, 5, 25, 28, 29, 30, 35, 36, 37, 52, 54, 100, 256, 258, 260, 261, 1004, 43000, 999)
_CBOR: st.SearchStrategy[Any] = st.recursive(
    st.integers(-(2**64), 2**64 - 1)
    | st.floats()
    | st.text(max_size=4)
    | st.binary(max_size=4)
    | st.booleans()
    | st.none(),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.integers(-7, 9) | st.text(max_size=3), inner, max_size=4)
        | st.builds(cbor2.CBORTag, st.sampled_from(_TAGS), inner)
    ),
    max_leaves=12,
)


@given(st.lists(_CBOR | st.dictionaries(st.integers(-7, 9), _CBOR, max_size=5), max_size=4))
def test_no_cbor_of_the_right_outline_raises_anything_but_a_payload_error(pack: list[Any]) -> None:
    decoder = FORMATS["senml"](source("senml", series="temperature"))
    try:
        decoded = decoder.decode("boards/sump", cbor2.dumps(pack), RECEIVED_US)
    except PayloadError:
        return
    _check(decoded)


def _check(decoded: Decoded) -> None:
    """What every decoder owes whatever it was given."""
    for observation in decoded.observations:
        assert isinstance(observation.value, float | bool | str)
        if isinstance(observation.value, float):
            assert observation.value - observation.value == 0.0
        assert observation.observed_us is None or -(2**63) <= observation.observed_us < 2**63
    for flaw in decoded.problems:
        assert re.fullmatch(r"[^\n]+", flaw.reason)
