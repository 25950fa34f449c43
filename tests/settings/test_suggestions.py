"""The nearest valid word."""

from __future__ import annotations

import pytest

from collector.settings.suggestions import instead_of, nearest

WORDS = ("deadband", "on_delay", "off_delay", "title")


@pytest.mark.parametrize(
    ("word", "meant"),
    [
        ("deadbnd", "deadband"),
        ("dead_band", "deadband"),
        ("on-delay", "on_delay"),
        ("Title", "title"),
        ("colour", None),
        ("", None),
    ],
)
def test_nearest_word(word: str, meant: str | None) -> None:
    assert nearest(word, WORDS) == meant


def test_all_words_are_told_where_none_is_near() -> None:
    assert instead_of("colour", WORDS) == "one of deadband, off_delay, on_delay, title"


def test_nothing_to_choose_from_is_told() -> None:
    assert instead_of("colour", ()) == "there is none yet"
