"""Durations in a configuration."""

from __future__ import annotations

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.errors import ConfigError
from collector.units import parse_duration
from collector.units.duration_text import DURATION_SPELLINGS, LONGEST_US

S = 1_000_000


# The table of all spellings: seconds of one of each.
@pytest.mark.parametrize(
    ("spelling", "seconds"),
    [
        ("us", 1e-6),
        ("µs", 1e-6),
        ("ms", 1e-3),
        *[(one, 1) for one in ("s", "sec", "second", "seconds")],
        *[(one, 60) for one in ("min", "minute", "minutes")],
        *[(one, 3600) for one in ("h", "hour", "hours")],
        *[(one, 86_400) for one in ("d", "day", "days")],
        *[(one, 604_800) for one in ("week", "weeks")],
    ],
)
def test_every_spelling(spelling: str, seconds: float) -> None:
    assert parse_duration(f"1 {spelling}") == round(seconds * S)


def test_the_table_above_has_every_spelling() -> None:
    assert len(DURATION_SPELLINGS) == 3 + 4 + 3 + 3 + 3 + 2


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("40 min", 2400),
        ("1 h 30 min", 5400),
        ("1h30min", 5400),
        ("30 min 1 h", 5400),
        ("5 s", 5),
        ("2 days", 172_800),
        ("0 s", 0),
        ("1.5 h", 5400),
        ("0.1 s", 0.1),
        (" 7 days ", 604_800),
    ],
)
def test_duration(text: str, seconds: float) -> None:
    value = parse_duration(text)
    assert value == round(seconds * S)
    assert type(value) is int


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "empty"),
        ("   ", "no duration"),
        ("40", "lacks a unit"),
        ("min", "no duration"),
        ("-5 min", "no duration"),
        ("1 h -5 min", "no duration"),
        ("1,5 h", "lacks a unit"),
        ("5 m", "no unit of time"),
        ("5 mins", 'did you mean "min"'),
        ("3 months", "no unit of time"),
        ("5 min 5 minutes", "twice"),
        ("1 h 30", "lacks a unit"),
        ("nan s", "no duration"),
        ("1e9 s", "no unit of time"),
        ("1001 weeks 999999 days", "thousand years"),
    ],
)
def test_mistake_names_the_text_and_what_would_be_right(text: str, says: str) -> None:
    with pytest.raises(ConfigError) as raised:
        parse_duration(text)
    assert says in str(raised.value)


@pytest.mark.parametrize(("days", "is_right"), [(365_249, True), (365_250, True), (365_251, False)])
def test_longest_duration(days: int, is_right: bool) -> None:
    if is_right:
        assert parse_duration(f"{days} days") == days * 86_400 * S <= LONGEST_US
        return
    with pytest.raises(ConfigError, match="thousand years"):
        parse_duration(f"{days} days")


@given(st.integers(0, 10_000), st.integers(0, 59), st.integers(0, 59))
def test_parts_add_up_exactly(hours: int, minutes: int, seconds: int) -> None:
    assert (
        parse_duration(f"{hours} h {minutes} min {seconds} s") == (hours * 3600 + minutes * 60 + seconds) * S
    )


@given(st.text(max_size=20))
def test_any_text_is_a_duration_or_a_mistake_of_the_operator(text: str) -> None:
    with suppress(ConfigError):
        assert 0 <= parse_duration(text) <= LONGEST_US
