"""The attenuated signal test against plain slices of the window, whatever a series does."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules import HOUR_US, AttenuatedSignalLimits
from rules.quality.attenuated_signal import attenuated_signal
from tests.rules.quality.library import MINUTE, START_US, Case, every, ours

SECOND = MINUTE // 60


@settings(max_examples=200)
@given(
    st.lists(st.tuples(st.integers(1, 400), st.integers(-30, 30)), min_size=1, max_size=150),
    st.sampled_from([60, 600, 3000]),
    st.sampled_from([0.03, 0.22, 0.53]),
    st.sampled_from(["range", "deviation"]),
    st.integers(1, 6),
)
def test_verdicts_are_those_of_the_window(drawn, window_s, enough, method, fewest):
    times_us = (START_US + np.cumsum([seconds for seconds, _ in drawn]) * SECOND).tolist()
    values = [25 + number / 64 for _, number in drawn]
    limits = AttenuatedSignalLimits(window_s * SECOND, enough, enough / 3, method, fewest)
    found = ours(Case("attenuated_signal", limits, values, times_us))
    for place, time_us in enumerate(times_us):
        window = [
            v
            for t, v in zip(times_us[: place + 1], values[: place + 1], strict=True)
            if t > time_us - window_s * SECOND
        ]
        movement = np.ptp(window) if method == "range" else np.std(window)
        if len(window) < fewest:
            expected = 2
        elif movement >= enough:
            expected = 1
        elif time_us - times_us[0] < window_s * SECOND:
            expected = 2
        else:
            expected = 4 if movement < enough / 3 else 3
        assert found[place] == expected


@pytest.mark.parametrize("method", ["range", "deviation"])
def test_years_of_readings_leave_nothing_by_rounding(method):
    """After a wild past the test says what a fresh one says."""
    limits = AttenuatedSignalLimits(HOUR_US, 0.05, 0.01, method)
    old, fresh = attenuated_signal(limits, HOUR_US), attenuated_signal(limits, HOUR_US)
    chance = np.random.default_rng(5)
    for place, value in enumerate(chance.normal(0, 1e5, 2000).tolist()):
        old.judge(START_US + place * MINUTE, value, MINUTE)
    for place, value in enumerate(chance.normal(25, 0.02, 400).tolist()):
        time_us = START_US + (2000 + place) * MINUTE
        pair = old.judge(time_us, value, MINUTE), fresh.judge(time_us, value, MINUTE)
        if place >= 60:
            assert pair[0] == pair[1]


def test_a_fading_probe_is_suspect_then_fails():
    swing = np.sin(np.arange(0, 72 * 6) / 144 * 2 * np.pi)
    fade = np.interp(np.arange(72 * 6), [0, 144, 300], [1.0, 1.0, 0.0])
    limits = AttenuatedSignalLimits(24 * HOUR_US, 0.8, 0.2)
    found = ours(Case("attenuated_signal", limits, (8.2 + swing * fade).tolist(), every(10 * MINUTE, 72 * 6)))
    assert set(found[36:200]) == {1}
    assert 3 in found
    assert found[-1] == 4
    assert found[found.index(3) :] == sorted(found[found.index(3) :])
