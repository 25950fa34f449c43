"""Quality tests against the vectors of ioos_qc 3.0.0 and against the library itself.

Where we differ on purpose, the test says so: what cannot be judged yet is NOT_EVALUATED (2) here and
passes there; a span equal to the flat line's tolerance is flat here; time is elapsed time here and a
count of median intervals there; the newest reading is pending in the spike test, which leaves no mark.
"""

from __future__ import annotations

import itertools
import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ioos_qc import qartod

from rules import (
    HOUR_US,
    Block,
    Engine,
    EngineRules,
    Flag,
    FlatLineLimits,
    GapLimits,
    GrossRangeLimits,
    RateOfChangeLimits,
    SeriesRules,
    SpikeLimits,
    TankRules,
    primary_flag,
    unpack,
)

NAN = float("nan")
START_US = 1_790_000_000_000_000
SECOND = 1_000_000


def judge(values, *, step_s: int = 60, cut: int | None = None, **limits) -> list[dict[str, Flag]]:
    """Flags other than PASS by test for each value; readings `step_s` apart."""
    rules = EngineRules((TankRules("reef"),), (SeriesRules("reef", "x", "temperature", **limits),))
    engine = Engine(rules)
    times = START_US + np.arange(len(values), dtype=np.int64) * step_s * SECOND
    flags: list[dict[str, Flag]] = []
    size = len(values) if cut is None else cut
    for start in range(0, len(values), size):
        part = slice(start, start + size)
        outcome = engine.advance(
            Block(times[part], np.array(values[part], float), np.zeros(len(times[part]), np.int64))
        )
        for revised in outcome.revised:
            place = int((revised.observed_us - START_US) // (step_s * SECOND))
            flags[place] = unpack(revised.tests)
        flags += [unpack(bits) for bits in outcome.tests]
    return flags


def flags_of(name: str, values, **limits) -> list[int]:
    return [int(flags.get(name, Flag.PASS)) for flags in judge(values, **limits)]


def theirs(function, values, **arguments) -> list[int]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return np.ma.filled(function(inp=np.array(values, float), **arguments), 9).astype(int).tolist()


# The vectors were computed with ioos_qc 3.0.0; dt = 60 s.
def test_gross_range_vector():
    limits = GrossRangeLimits(20, 30, 22, 28)
    values = [19.9, 20, 22, 24, 28, 29, 30, 30.1, NAN]
    assert flags_of("gross_range", values, gross_range=limits) == [4, 3, 1, 1, 1, 3, 3, 4, 9]


def test_gross_range_fails_an_infinite_value():
    assert flags_of("gross_range", [25.0, float("inf")], gross_range=GrossRangeLimits(20, 30)) == [1, 4]


@pytest.mark.parametrize(
    ("limits", "values", "expected"),
    [
        (SpikeLimits(0.4, 1), [25, 25, 26, 25, 25, 28, 25, 25], [2, 3, 3, 3, 4, 4, 4, 1]),
        (SpikeLimits(0.5, 1.5), [0, 0, 0, 2, 2, 2], [2, 1, 3, 3, 1, 1]),
        (SpikeLimits(0.5, 1.5), [0, 0, 4, 4, 0, 0], [2, 4, 4, 4, 4, 1]),
    ],
)
def test_spike_vectors(limits, values, expected):
    """Average method; the newest reading is pending, which leaves no mark here (2 in the library)."""
    assert flags_of("spike", values, spike=limits) == expected


@pytest.mark.parametrize(
    ("distance", "flag"),
    [(0.39, 1), (0.4, 1), (0.41, 3), (0.99, 3), (1.0, 3), (1.01, 4)],
)
def test_spike_thresholds_are_strict(distance, flag):
    # Multiples of a power of two keep the arithmetic exact.
    scale = 1 / 1024
    limits = SpikeLimits(0.4 * 1024 * scale, 1.0)
    values = [0.0, distance, 0.0, 0.0]
    assert flags_of("spike", values, spike=limits)[1] == flag


def test_rate_of_change_vector():
    """Suspect level of the library's vector roc 0.001 / s; ours is per hour, the first reading is 2."""
    values = [25, 25.06 - 1e-9, 25.18, 25.24 - 1e-9, 25.9, 25.9]
    flags = flags_of("rate_of_change", values, rate_of_change=RateOfChangeLimits(3.6))
    assert flags == [2, 1, 3, 1, 3, 1]


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        (
            [1, 2, 2.0001, 2, 2.0001, 2, 2.0001, 2, 4, 5, 3, 3.0001, 3.0005, 3.00001],
            [2, 1, 1, 1, 3, 3, 4, 4, 1, 1, 1, 1, 1, 3],
        ),
        ([5.0] * 8, [2, 2, 2, 3, 3, 4, 4, 4]),
        ([5, 5, NAN, 5, 5, 5, 5, 5, 5], [2, 2, 1, 3, 3, 4, 4, 4, 4]),
    ],
)
def test_flat_line_vectors(values, expected):
    """The library's vectors for 180 s / 300 s; 2 instead of 1 while nothing can be said yet."""
    limits = FlatLineLimits(0.01, 180 * SECOND, 300 * SECOND)
    assert flags_of("flat_line", values, flat_line=limits) == expected


@pytest.mark.parametrize(
    ("span", "flag"), [(0.0078125, 3), (0.015625, 3), (0.0234375, 1)], ids=["under", "at", "over"]
)
def test_a_span_equal_to_the_tolerance_is_flat(span, flag):
    limits = FlatLineLimits(0.015625, 180 * SECOND, 1000 * SECOND)
    assert flags_of("flat_line", [0.0, span, 0.0, span, 0.0, span], flat_line=limits)[-1] == flag


@pytest.mark.parametrize(
    ("silence_s", "flag"), [(3599, 1), (3600, 1), (3601, 4)], ids=["under", "at", "over"]
)
def test_gap_fails_the_reading_that_ends_it(silence_s, flag):
    rules = EngineRules(
        (TankRules("reef"),), (SeriesRules("reef", "x", "temperature", gap=GapLimits(HOUR_US)),)
    )
    times = np.array([START_US, START_US + silence_s * SECOND], np.int64)
    outcome = Engine(rules).advance(Block(times, np.zeros(2), np.zeros(2, np.int64)))
    assert outcome.primary == [1, flag]


finite = st.floats(-50, 50).map(lambda value: round(value * 64) / 64)
runs = st.lists(st.tuples(finite, st.integers(1, 8)), min_size=3, max_size=30).map(
    lambda pairs: list(itertools.chain.from_iterable([value] * count for value, count in pairs))
)


@settings(max_examples=150, deadline=None)
@given(runs, st.sampled_from([None, 1, 3]))
def test_gross_range_agrees_with_the_library(values, cut):
    ours = flags_of("gross_range", values, gross_range=GrossRangeLimits(-30, 30, -10, 10), cut=cut)
    assert ours == theirs(qartod.gross_range_test, values, fail_span=(-30, 30), suspect_span=(-10, 10))


@settings(max_examples=150, deadline=None)
@given(runs, st.sampled_from([None, 1, 3]))
def test_spike_agrees_with_the_library(values, cut):
    ours = flags_of("spike", values, spike=SpikeLimits(2.0, 8.0), cut=cut)
    expected = theirs(qartod.spike_test, values, suspect_threshold=2.0, fail_threshold=8.0)
    assert ours[:-1] == expected[:-1]


@settings(max_examples=150, deadline=None)
@given(runs, st.sampled_from([None, 1, 3]))
def test_rate_of_change_agrees_with_the_library(values, cut):
    times = (np.datetime64("2026-01-01") + np.arange(len(values)) * np.timedelta64(64, "s")).astype("M8[ns]")
    # 225 per hour is 0.0625 a second: with 64 s between readings exactly 4 a step, free of rounding.
    ours = flags_of("rate_of_change", values, rate_of_change=RateOfChangeLimits(225.0), cut=cut, step_s=64)
    expected = theirs(qartod.rate_of_change_test, values, tinp=times, threshold=0.0625)
    assert ours[1:] == expected[1:]


@settings(max_examples=150, deadline=None)
@given(runs, st.sampled_from([None, 1, 3]))
def test_flat_line_agrees_with_the_library(values, cut):
    """A span equal to the tolerance is left out by a tolerance between two steps of the values."""
    limits = FlatLineLimits(0.02, 240 * SECOND, 480 * SECOND)
    ours = flags_of("flat_line", values, flat_line=limits, cut=cut)
    times = (np.datetime64("2026-01-01") + np.arange(len(values)) * np.timedelta64(60, "s")).astype("M8[ns]")
    expected = theirs(
        qartod.flat_line_test, values, tinp=times, suspect_threshold=240, fail_threshold=480, tolerance=0.02
    )
    assert [1 if flag == 2 else flag for flag in ours] == expected


# The library's own vector for `qartod_compare`.
@pytest.mark.parametrize(
    ("flags", "expected"),
    list(
        zip(
            zip((1, 1, 1, 2, 9, 9, 2), (1, 3, 4, 1, 9, 2, 2), (2, 1, 3, 9, 9, 1, 4), strict=True),
            (1, 3, 4, 1, 9, 1, 4),
            strict=True,
        )
    ),
)
def test_primary_flag_vector(flags, expected):
    assert primary_flag(Flag(flag) for flag in flags) == expected
