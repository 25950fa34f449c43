"""Names are cut between words, and only when they must be."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.wording.fitting import join_while_fitting, shorten, shorten_pair


@pytest.mark.parametrize(
    ("characters", "most_words", "text"),
    [
        (21, 9, "Living room reef tank"),
        (20, 9, "Living room reef…"),
        (17, 9, "Living room reef…"),
        (16, 9, "Living room…"),
        (12, 9, "Living room…"),
        (11, 9, "Living…"),
        (7, 9, "Living…"),
        (6, 9, "Livin…"),
        (1, 9, "…"),
        (60, 3, "Living room reef…"),
        (60, 1, "Living…"),
    ],
)
def test_name_is_cut_between_words(characters: int, most_words: int, text: str) -> None:
    assert shorten("Living room reef tank", characters, most_words) == text


_names = st.text(min_size=1, max_size=60).filter(lambda text: text.strip())


@given(_names, _names, st.integers(3, 60), st.integers(1, 9))
def test_two_names_fit_and_neither_vanishes(
    first: str, second: str, characters: int, most_words: int
) -> None:
    first, second = " ".join(first.split()), " ".join(second.split())
    text = shorten_pair(first, second, characters, most_words)
    assert len(text) <= characters
    assert len(text.split()) <= most_words
    assert text


def test_tank_gives_way_before_the_series() -> None:
    assert shorten_pair("Living room mixed reef", "Display temperature", 32, 9) == (
        "Living…, Display temperature"
    )


def test_optional_sentences_go_in_by_merit_while_there_is_room() -> None:
    assert join_while_fitting(["One two."], ["Three four five.", "Six.", "Seven."], ["Eight."], 5) == (
        "One two. Six. Seven. Eight."
    )
