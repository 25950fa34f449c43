"""Words, booleans and numbers of the two states. The meaning of each is common practice, no source."""

from __future__ import annotations

import pytest

from collector.configuration import SeriesConfiguration
from collector.errors import PayloadError
from collector.payloads import STATE_WORDS, state_value
from tests.payloads.sources import LEAK, PUMP, UPSIDE_DOWN

_TABLE = [
    ("ON", 1.0),
    ("off", 0.0),
    ("True", 1.0),
    ("FALSE", 0.0),
    ("1", 1.0),
    ("0", 0.0),
    ("closed", 1.0),
    ("Open", 0.0),
    ("yes", 1.0),
    ("no", 0.0),
    ("wet", 1.0),
    ("dry", 0.0),
    (" on \n", 1.0),
    (True, 1.0),
    (False, 0.0),
    (1.0, 1.0),
    (0.0, 0.0),
    (-0.0, 0.0),
]


@pytest.mark.parametrize(("said", "expected"), _TABLE)
def test_state_is_read(said: float | bool | str, expected: float) -> None:
    assert state_value(said, LEAK) == expected


@pytest.mark.parametrize(("said", "expected"), _TABLE)
def test_inverted_state_is_the_other_one(said: float | bool | str, expected: float) -> None:
    assert state_value(said, UPSIDE_DOWN) == 1.0 - expected


def test_every_word_of_the_table_has_a_row() -> None:
    assert set(STATE_WORDS) <= {str(said).strip().lower() for said, _ in _TABLE}


@pytest.mark.parametrize(("said", "expected"), [("LÄUFT", 1.0), ("steht", 0.0), ("on", 1.0)])
def test_own_words_stand_beside_ours(said: str, expected: float) -> None:
    assert state_value(said, PUMP) == expected


@pytest.mark.parametrize(("said", "expected"), [(2.0, 1.0), ("2", 1.0), (1.0, 0.0), (True, 1.0)])
def test_own_word_that_is_a_number_comes_before_ours(said: float | bool | str, expected: float) -> None:
    relay = SeriesConfiguration("reef", "relay", "state", words={"2": 1.0, "1": 0.0})
    assert state_value(said, relay) == expected


@pytest.mark.parametrize("said", ["", "ajar", 0.5, 2.0, 1.0000001, float("nan"), float("inf"), "läuft"])
def test_anything_else_is_refused_with_the_words_that_would_do(said: float | str) -> None:
    with pytest.raises(PayloadError, match="none of the two states; known are closed, on"):
        state_value(said, LEAK)
