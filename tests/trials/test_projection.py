"""Danger lines of computed tanks are reached within what is told, as often as was measured.

The short form of `tests/bench/projection.py`: four tanks, each with both failures of its heater, three lines
at three times. Its long form, and what alarms tell, stand in tests/bench/README.md.
"""

from __future__ import annotations

import pytest

from rules.projection import HEAT_COVERAGE
from tests.bench.projection import Tally, Told, at_fixed_times, lived_of


@pytest.fixture(scope="module")
def tally() -> Tally:
    found = Tally()
    for lived in lived_of((80.0, 800.0), 2):
        at_fixed_times(lived, found)
    return found


def found_of(tally: Tally, way: str) -> list[Told]:
    return [one for heading, some in tally.told.items() if heading.startswith(way) for one in some]


# Way, projections that are made, and those held on 2026-11-26: no fewer from now on.
@pytest.mark.parametrize(("way", "made", "held"), [("model", 54, 48), ("volume", 72, 59)])
def test_what_is_stated_is_held(tally: Tally, way: str, made: int, held: int) -> None:
    found = found_of(tally, way)
    assert len(found) >= made
    assert sum(one.is_held for one in found) >= held
    assert sum(one.is_held for one in found) >= HEAT_COVERAGE * len(found)


def test_a_tank_that_is_known_is_told_more_closely_than_one_that_is_not(tally: Tally) -> None:
    def width(way: str) -> float:
        spans = sorted(
            (one.latest - one.earliest) / one.at
            for one in found_of(tally, way)
            if one.latest is not None and one.earliest is not None
        )
        return spans[len(spans) // 2]

    # Measured: some 65 % of the time to go, against 185 %.
    assert width("model") < 0.5 * width("volume")


@pytest.mark.parametrize(
    ("earliest", "latest", "truth", "is_held"),
    [
        (50.0, 90.0, 49.9, False),
        (50.0, 90.0, 50.0, True),
        (50.0, 90.0, 90.0, True),
        (50.0, 90.0, 90.1, False),
        (50.0, None, 5000.0, True),
        (50.0, None, None, True),
        (50.0, 90.0, None, False),
    ],
)
def test_a_line_is_held_between_its_edges(earliest, latest, truth, is_held) -> None:
    assert Told(60.0, earliest, latest, truth).is_held is is_held
