"""JSON payloads, with the pointers of RFC 6901 and the times of a payload."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonpointer import EndOfList, JsonPointerException, resolve_pointer

from collector.errors import ConfigError, PayloadError
from collector.payloads import Decoded, Kind
from collector.payloads.json_values import _MISSING, _Pointer
from collector.readings import Observation
from tests.payloads.sources import RECEIVED_US, decoder

# The document and the pointers of RFC 6901, 5.
_RFC6901 = {
    "foo": ["bar", "baz"],
    "": 0,
    "a/b": 1,
    "c%d": 2,
    "e^f": 3,
    "g|h": 4,
    "i\\j": 5,
    'k"l': 6,
    " ": 7,
    "m~n": 8,
}


def _decode(document: object, **source: Any) -> Decoded:
    payload = document if isinstance(document, bytes) else json.dumps(document).encode()
    return decoder("json", **source).decode("boards/sump", payload, RECEIVED_US)


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        ("/foo/0", "bar"),
        ("/", 0.0),
        ("/a~1b", 1.0),
        ("/c%d", 2.0),
        ("/e^f", 3.0),
        ("/g|h", 4.0),
        ("/i\\j", 5.0),
        ('/k"l', 6.0),
        ("/ ", 7.0),
        ("/m~0n", 8.0),
    ],
)
def test_pointer_of_the_rfc_finds_what_the_rfc_says(pointer: str, value: float | str) -> None:
    assert _decode(_RFC6901, values={pointer: "ph"}) == Decoded([Observation(pointer, value)], [])


@given(
    st.recursive(
        st.integers(0, 9) | st.text("01-a", max_size=2),
        lambda inner: (
            st.lists(inner, max_size=3) | st.dictionaries(st.text("01-a", max_size=1), inner, max_size=3)
        ),
    ),
    st.lists(st.text("01-a", max_size=2), max_size=3),
)
def test_pointer_finds_what_the_library_finds(document: object, parts: list[str]) -> None:
    text = "".join(f"/{part}" for part in parts)
    try:
        expected = resolve_pointer(document, text)
    except JsonPointerException:
        expected = _MISSING
    if isinstance(expected, EndOfList):  # the place after the last element: there is nothing
        expected = _MISSING
    assert _Pointer(text).find(document) is expected


@pytest.mark.parametrize("pointer", ["ph", "/a~2", "/a~"])
def test_what_is_no_pointer_is_a_mistake_of_the_configuration(pointer: str) -> None:
    with pytest.raises(ConfigError, match="no JSON Pointer"):
        decoder("json", values={pointer: "ph"})


@pytest.mark.parametrize(
    ("value", "read"), [(8, 8.0), (8.25, 8.25), ("8.25", "8.25"), (True, True), (False, False)]
)
def test_value_is_a_number_a_text_or_a_boolean(value: object, read: object) -> None:
    (observation,), problems = _decode({"ph": value}, values={"/ph": "ph"})
    assert observation.value == read
    assert type(observation.value) is type(read)
    assert not problems


def test_bare_json_value_is_the_one_series() -> None:
    assert _decode(25.5, series="temperature").observations == [Observation("", 25.5)]


def test_value_that_is_missing_is_no_problem_beside_one_that_is_there() -> None:
    assert _decode({"ph": 8.1}, values={"/ph": "ph", "/t": "temperature"}) == Decoded(
        [Observation("/ph", 8.1)], []
    )


def test_payload_with_nothing_wanted_says_what_it_has() -> None:
    observations, (flaw,) = _decode({"pH": 8.1, "at": 1}, values={"/ph": "ph", "/t": "temperature"})
    assert not observations
    assert flaw.kind is Kind.NAME
    assert flaw.reason.startswith("none of /ph, /t is in it; it has /pH, /at")


@pytest.mark.parametrize(
    ("value", "named"), [(None, "null"), ([1, 2], "an array of 2"), ({"v": 1}, "an object of 1")]
)
def test_value_that_is_none_is_named_and_the_others_are_kept(value: object, named: str) -> None:
    observations, (flaw,) = _decode({"t": value, "ph": 8.1}, values={"/t": "temperature", "/ph": "ph"})
    assert observations == [Observation("/ph", 8.1)]
    assert flaw.kind is Kind.VALUE
    assert flaw.reason == f"/t is {named}: a number or a state is needed"


@pytest.mark.parametrize(
    ("time_format", "at"),
    [
        ("rfc3339", "2026-09-21T14:13:20.5Z"),
        ("unix_s", 1_790_000_000.5),
        ("unix_ms", 1_790_000_000_500),
        ("unix_us", "1790000000500000"),
    ],
)
def test_time_of_the_payload_is_that_of_all_values(time_format: str, at: object) -> None:
    document = {"at": at, "p": [8.1, 25.0]}
    observations, problems = _decode(
        document, values={"/p/0": "ph", "/p/1": "temperature"}, time="/at", time_format=time_format
    )
    assert {observation.observed_us for observation in observations} == {1_790_000_000_500_000}
    assert not problems


@pytest.mark.parametrize(
    ("document", "reason"),
    [
        ({"ph": 8.1}, "there is no time at /at; arrival stands for it"),
        (
            {"ph": 8.1, "at": "2026-09-21T14:13:20"},
            "the time at /at: 2026-09-21T14:13:20 is no RFC 3339 time",
        ),
        ({"ph": 8.1, "at": None}, "the time at /at: null is no RFC 3339 time"),
    ],
)
def test_value_is_kept_when_its_time_cannot_be_read(document: object, reason: str) -> None:
    observations, (flaw,) = _decode(document, values={"/ph": "ph"}, time="/at")
    assert observations == [Observation("/ph", 8.1)]
    assert flaw.kind is Kind.TIME
    assert flaw.reason.startswith(reason)


@pytest.mark.parametrize(
    "payload",
    [
        b"",
        b"{",
        b'{"ph": NaN}',
        b'{"ph": Infinity}',
        b'{"ph": 1e999}',
        b"{'ph': 1}",
        b"\xff",
        b"[" * 5000,
        b'{"ph":1}x',
    ],
)
def test_what_is_no_json_is_refused(payload: bytes) -> None:
    with pytest.raises(PayloadError, match="is no JSON"):
        _decode(payload, values={"/ph": "ph"})
