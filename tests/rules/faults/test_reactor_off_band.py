"""Reactor off band: too much gas and too little, and a probe that is lifted.

That the usual media dissolve between pH 6.0 and 7.3 of the effluent is common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest

from rules import Priority
from tests.rules.faults.plain_water import FAULT, hear


def effluent(after, hours: float = FAULT + 12.0) -> dict[str, np.ndarray]:
    """pH 6.55 until the fault, then as `after` says of the hours since."""
    hour = np.arange(int(hours * 60)) / 60.0
    rng = np.random.default_rng(3)
    shown = np.where(hour < FAULT, 6.55, after(np.maximum(hour - FAULT, 0.0)))
    shown = shown + 0.03 * np.sin(hour / 6.0) + 0.01 * rng.standard_normal(len(hour))
    return {"reactor_ph": np.round(shown, 2)}


@pytest.mark.parametrize("goal", [7.4, 5.9], ids=["gas empty", "too much gas"])
def test_effluent_that_leaves_its_band_is_named_within_hours(goal):
    told = hear(effluent(lambda since: goal + (6.55 - goal) * np.exp(-since / 3.0)))
    hours, event = told.first("reactor_off_band")
    assert 0.3 < hours < 3.0
    assert event.priority is Priority.HIGH


# Without a baseline the band is that of the last day, here 6.5 to 6.6; the margin is 0.12.
@pytest.mark.parametrize(("offset", "is_named"), [(0.08, False), (0.30, True), (-0.08, False), (-0.30, True)])
def test_beyond_the_margin_it_is_off_band(offset, is_named):
    told = hear(effluent(lambda since: 6.55 + offset * np.minimum(since, 1.0)))
    assert ("reactor_off_band" in told.causes) is is_named


def test_a_quiet_reactor_rings_for_nothing():
    assert hear(effluent(lambda since: 6.55 + 0.0 * since, hours=168.0)).causes == []


def test_a_probe_lifted_for_ten_minutes_is_no_reactor():
    assert hear(effluent(lambda since: np.where(since < 1 / 6, 7.2, 6.55))).causes == []


def test_a_hiccup_shorter_than_the_on_delay_is_passed_over():
    assert hear(effluent(lambda since: np.where(since < 1 / 4, 6.8, 6.55))).causes == []
