"""How pieces of payloads are shown."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.payloads import shown


@pytest.mark.parametrize(
    ("piece", "text"),
    [
        ("25,3", "25,3"),
        (b"25,3", "25,3"),
        ("läuft", "läuft"),
        (b"\xff\x00", "\\xff\\x00"),
        ("a\nb", "a\\nb"),
        ("\u202eabc", "\\u202eabc"),  # would turn the rest of the line round
        ("\ud800", "\\ud800"),
        (None, "null"),
        ("", "an empty text"),
        (b"", "an empty payload"),
        (True, "true"),
        (1.5, "1.5"),
        ([1, [2]], "an array of 2"),
        ({}, "an object of 0"),
        ("x" * 60, "x" * 60),
        ("x" * 61, "x" * 59 + "…"),
        (b"x" * 5000, "x" * 59 + "…"),
    ],
)
def test_piece_is_shown(piece: object, text: str) -> None:
    assert shown(piece) == text


@given(st.binary() | st.text() | st.floats() | st.integers(-(2**64), 2**64), st.integers(1, 80))
def test_anything_is_one_printable_line_of_the_length_allowed(piece: object, longest: int) -> None:
    text = shown(piece, longest)
    assert text.isprintable()
    assert len(text) <= longest
