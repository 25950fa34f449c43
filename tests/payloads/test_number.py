"""Payloads of one bare number or word."""

from __future__ import annotations

import pytest

from collector.errors import ConfigError, PayloadError
from collector.payloads import Decoded, number_value
from collector.readings import Observation
from tests.payloads.sources import RECEIVED_US, decoder


def _decode(payload: bytes) -> Decoded:
    return decoder("number", series="temperature").decode("boards/sump", payload, RECEIVED_US)


@pytest.mark.parametrize(
    ("payload", "value"),
    [
        (b"25.31", 25.31),
        (b"-1", -1.0),
        (b"+.5", 0.5),
        (b"5.", 5.0),
        (b"2.5e1", 25.0),
        (b" 25.31\r\n", 25.31),
        (b"0", 0.0),
        (b"ON", "ON"),
        (b"true", "true"),
        ("läuft".encode(), "läuft"),
        (b"low water\n", "low water"),
    ],
)
def test_number_or_word_is_one_observation_without_time_and_unit(payload: bytes, value: float | str) -> None:
    assert _decode(payload) == Decoded((Observation("", value),))


@pytest.mark.parametrize(
    "payload",
    [
        b"",
        b"nan",
        b"NaN",
        b"inf",
        b"-Infinity",
        b"1e999",
        b"1_0",
        b"\xff\xfe",
        b"25.3\0",
        b"  ",
        b"a\nb",
        b"\x1c25",
        b"25\x1f",
        b"\x0b25",
        b"x" * 41,
    ],
)
def test_what_is_neither_is_refused(payload: bytes) -> None:
    with pytest.raises(PayloadError):
        _decode(payload)


def test_word_of_the_longest_length_is_taken() -> None:
    assert _decode("ä".encode() * 40).observations[0].value == "ä" * 40


def test_source_without_a_series_is_a_mistake_of_the_configuration() -> None:
    with pytest.raises(ConfigError, match="give series for boards/sump"):
        decoder("number", values={"a": "temperature"})


@pytest.mark.parametrize(("text", "number"), [("25.3", 25.3), (" 1e3 ", 1000.0), (7.0, 7.0)])
def test_text_with_a_number_is_that_number(text: float | str, number: float) -> None:
    assert number_value(text) == number


@pytest.mark.parametrize(
    ("said", "reason"),
    [
        ("25,3", "25,3 is no finite number: write the decimal point as a point"),
        ("warm", "warm is no finite number"),
        ("", "an empty text is no finite number"),
        ("nan", "nan is no finite number"),
        ("1_0", "1_0 is no finite number"),
        ("٣", "٣ is no finite number"),
        ("\x1c25", "\\x1c25 is no finite number"),
        (float("inf"), "inf is no finite number"),
        (True, "true is no number: a series of quantity contact or state takes such values"),
    ],
)
def test_what_is_no_number_is_named(said: float | bool | str, reason: str) -> None:
    with pytest.raises(PayloadError) as caught:
        number_value(said)
    assert str(caught.value) == reason
