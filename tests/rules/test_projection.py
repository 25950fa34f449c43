"""When the danger line is reached, and when nothing can be said of it."""

from __future__ import annotations

import pytest

from rules import HOUR_US
from rules.projection import project

NAN = float("nan")


def test_a_straight_line_reaches_the_danger_line_ahead_with_an_interval():
    found = project(0, 24.0, (-0.5, -0.6, -0.4), 21.0, 30.0)
    assert found is not None
    assert found.danger == 21.0
    assert found.at_us == 6 * HOUR_US
    assert found.earliest_us == 5 * HOUR_US
    assert found.latest_us == pytest.approx(7.5 * HOUR_US, abs=1)


def test_a_slope_whose_edge_turns_away_has_no_latest_instant():
    found = project(0, 24.0, (-0.5, -0.6, 0.1), 21.0, 30.0)
    assert found is not None
    assert found.latest_us is None


@pytest.mark.parametrize(
    ("value", "slope", "low", "high"),
    [
        (24.0, (NAN, NAN, NAN), 21.0, 30.0),
        (24.0, (0.0, 0.0, 0.0), 21.0, 30.0),
        (24.0, (-0.5, -0.6, -0.4), None, 30.0),
        (20.9, (-0.5, -0.6, -0.4), 21.0, 30.0),
        (24.0, (-0.0624, -0.07, -0.05), 21.0, 30.0),
    ],
    ids=["no slope", "level", "no line ahead", "line crossed", "farther than 48 h"],
)
def test_nothing_is_projected_where_nothing_can_be(value, slope, low, high):
    assert project(0, value, slope, low, high) is None


@pytest.mark.parametrize(("hours", "known"), [(47.9, True), (48.0, True), (48.1, False)])
def test_the_farthest_projection_is_two_days(hours, known):
    assert (project(0, 0.0, (1.0, 1.0, 1.0), None, hours) is not None) is known
