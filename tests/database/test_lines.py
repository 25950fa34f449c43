"""Lines: what a reading is at the database, and that our own reader of the protocol finds the same."""

from __future__ import annotations

import math

from hypothesis import given
from hypothesis import strategies as st

from collector.database import lines_of
from collector.payloads.line_protocol import parse_line
from collector.store import SeriesTags

TAGS = {1: SeriesTags("reef", "temperature", "temperature"), 2: SeriesTags("nano reef", "a,b=c", "ph")}
AT_US = 1_764_000_000_123_456


def test_a_reading_is_one_line_with_its_flag_and_tags_in_the_order_of_their_names() -> None:
    assert lines_of(TAGS, [1], [AT_US], [25.1], [1]) == [
        b"reading,quantity=temperature,series=temperature,tank=reef value=25.1,flag=1i 1764000000123456000"
    ]


def test_what_is_no_number_has_its_flag_alone() -> None:
    """Line protocol knows neither NaN nor infinity."""
    for value in (None, math.nan, math.inf, -math.inf):
        assert lines_of(TAGS, [1], [AT_US], [value], [9]) == [
            b"reading,quantity=temperature,series=temperature,tank=reef flag=9i 1764000000123456000"
        ]


def test_signs_of_the_protocol_in_a_name_are_escaped() -> None:
    (line,) = lines_of(TAGS, [2], [AT_US], [8.1], [3])
    assert line.startswith(rb"reading,quantity=ph,series=a\,b\=c,tank=nano\ reef value=8.1,flag=3i ")


def test_nothing_makes_no_lines() -> None:
    assert lines_of(TAGS, [], [], [], []) == []


@given(
    st.floats(allow_nan=False, allow_infinity=False),
    st.sampled_from([1, 2, 3, 4, 9]),
    st.integers(0, 4_000_000_000_000_000),
)
def test_our_own_reader_of_the_protocol_finds_every_bit_again(value: float, flag: int, at_us: int) -> None:
    point = parse_line(lines_of(TAGS, [2], [at_us], [value], [flag])[0])
    assert point.measurement == "reading"
    assert point.tags == {"quantity": "ph", "series": "a,b=c", "tank": "nano reef"}
    assert point.fields == {"value": value, "flag": flag}
    assert (point.observed_us, point.flaws) == (at_us, ())
