"""Times of payloads against the RFC's examples and the standard library's calendar."""

from __future__ import annotations

import calendar
import time
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.errors import PayloadError
from collector.payloads.times import TIME_FORMATS, rfc3339_us, unix_time_us


def _seconds(text: str) -> int:
    return calendar.timegm(time.strptime(text, "%Y-%m-%d %H:%M:%S"))


@pytest.mark.parametrize(
    ("text", "expected_us"),
    [
        # RFC 3339, 5.8, with what its text says each of them means.
        ("1985-04-12T23:20:50.52Z", _seconds("1985-04-12 23:20:50") * 1_000_000 + 520_000),
        ("1996-12-19T16:39:57-08:00", _seconds("1996-12-20 00:39:57") * 1_000_000),
        ("1990-12-31T23:59:60Z", _seconds("1991-01-01 00:00:00") * 1_000_000),
        ("1990-12-31T15:59:60-08:00", _seconds("1991-01-01 00:00:00") * 1_000_000),
        ("1937-01-01T12:00:27.87+00:20", _seconds("1937-01-01 11:40:27") * 1_000_000 + 870_000),
        # 5.6: lower case and, for readability, a space; 4.3: -00:00 is UTC of an unknown place.
        ("1985-04-12t23:20:50z", _seconds("1985-04-12 23:20:50") * 1_000_000),
        ("1985-04-12 23:20:50Z", _seconds("1985-04-12 23:20:50") * 1_000_000),
        ("1985-04-12T23:20:50-00:00", _seconds("1985-04-12 23:20:50") * 1_000_000),
        ("1985-04-12T23:20:50.1234567899Z", _seconds("1985-04-12 23:20:50") * 1_000_000 + 123_456),
        ("1990-12-31T23:59:60.25Z", _seconds("1991-01-01 00:00:00") * 1_000_000 + 250_000),
    ],
)
def test_rfc3339_example_is_the_instant_that_the_rfc_says(text: str, expected_us: int) -> None:
    assert rfc3339_us(text) == expected_us


@pytest.mark.parametrize(
    "text",
    [
        "1985-04-12T23:20:50",  # no offset: whose midnight?
        "1985-04-12T23:20:50+01",
        "1985-04-12T23:20:50+0100",
        "1985-04-12T23:20:50+00:60",
        "1985-04-12T23:20:50+24:00",
        "1985-04-12T23:20Z",
        "1985-04-12T23:20:50,5Z",
        "1985-04-12",
        "19850412T232050Z",
        "1985-W15-5T23:20:50Z",
        "1985-02-30T00:00:00Z",
        "1985-04-12T24:00:00Z",
        "1985-04-12T23:20:60Z",  # no day ends at that minute
        "0000-01-01T00:00:00Z",
        "١٩٨٥-04-12T23:20:50Z",
        " 1985-04-12T23:20:50Z",
        "1985-04-12T23:20:50Z\n",
        "",
        1985,
        None,
    ],
)
def test_what_is_no_rfc3339_time_is_refused_with_its_text(text: object) -> None:
    with pytest.raises(PayloadError, match="time"):
        rfc3339_us(text)


@given(
    st.datetimes(min_value=datetime(1, 1, 2), max_value=datetime(9999, 12, 30)),
    st.integers(-23 * 60 - 59, 23 * 60 + 59),
)
def test_every_instant_survives_its_rfc3339_text(instant: datetime, offset_minutes: int) -> None:
    aware = instant.replace(tzinfo=timezone(timedelta(minutes=offset_minutes)))
    since = aware - datetime(1970, 1, 1, tzinfo=UTC)
    assert rfc3339_us(aware.isoformat()) == since // timedelta(microseconds=1)


@pytest.mark.parametrize(
    ("time_format", "value", "expected_us"),
    [
        ("unix_s", 1_790_000_000, 1_790_000_000_000_000),
        ("unix_s", 1_790_000_000.25, 1_790_000_000_250_000),
        ("unix_s", "1790000000.25", 1_790_000_000_250_000),
        ("unix_s", 0, 0),
        ("unix_s", -1.5, -1_500_000),
        ("unix_ms", 1_790_000_000_123, 1_790_000_000_123_000),
        ("unix_ms", "1790000000123", 1_790_000_000_123_000),
        ("unix_us", 1_790_000_000_123_456, 1_790_000_000_123_456),
        ("unix_us", "1790000000123456", 1_790_000_000_123_456),
        # Beyond 2**53: a float would lose the last digit.
        ("unix_us", 2**53 + 1, 2**53 + 1),
        ("unix_us", 2**62 - 1, 2**62 - 1),
    ],
)
def test_unix_time_becomes_microseconds(time_format: str, value: object, expected_us: int) -> None:
    assert TIME_FORMATS[time_format](value) == expected_us


@pytest.mark.parametrize(
    "value",
    [
        True,
        None,
        "",
        "soon",
        "1_0",
        "٣",
        "nan",
        float("nan"),
        float("inf"),
        2**62,
        1e300,
        "9" * 5000,
        [1],
        {},
    ],
)
def test_what_is_no_unix_time_is_refused(value: object) -> None:
    with pytest.raises(PayloadError, match="Unix time"):
        unix_time_us(value, 1.0)


@given(
    st.sampled_from(sorted(TIME_FORMATS)), st.text() | st.floats() | st.integers() | st.booleans() | st.none()
)
def test_any_value_is_an_instant_of_64_bits_or_refused(time_format: str, value: object) -> None:
    try:
        instant_us = TIME_FORMATS[time_format](value)
    except PayloadError:
        return
    assert -(2**63) <= instant_us < 2**63
