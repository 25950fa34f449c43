"""Flags do not depend on how a stream is cut, time shifts nothing, and no test grows with the stream."""

from __future__ import annotations

import gc
import sys
from array import array
from collections import deque
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules import (
    HOUR_US,
    MICROSECONDS,
    AttenuatedSignalLimits,
    Band,
    Block,
    ClimatologyLimits,
    Engine,
    EngineRules,
    FlatLineLimits,
    GapLimits,
    GrossRangeLimits,
    RateOfChangeLimits,
    Season,
    SeriesRules,
    SpikeLimits,
    TankRules,
    unpack,
)
from rules.quality.packed import STEP_TESTS, TESTS
from rules.quality.suite import QualitySuite
from rules.survey import survey
from tests.examples import few

MINUTE = 60 * MICROSECONDS
START_US = 1_790_000_000 * MICROSECONDS
NAN, INF = float("nan"), float("inf")


class Swinging:
    """A band that is another one each quarter of an hour, and unknown in some."""

    def band_at(self, time_us: int) -> Band:
        quarter = time_us // (15 * MINUTE)
        if quarter % 7 == 3:
            return Band(NAN, NAN, NAN)
        centre = 25.0 + 0.5 * (quarter % 3)
        return Band(centre - 0.5, centre, centre + 1.0)


def rules_of(method: str = "range") -> SeriesRules:
    return SeriesRules(
        "reef",
        "x",
        "temperature",
        gap=GapLimits(40 * MINUTE),
        gross_range=GrossRangeLimits(-5, 60, 15, 35),
        spike=SpikeLimits(0.4, 1.5, "average" if method == "range" else "differential"),
        rate_of_change=RateOfChangeLimits(30.0, 2.0, HOUR_US, 0.01),
        flat_line=FlatLineLimits(0.05, 20 * MINUTE, 50 * MINUTE),
        climatology=ClimatologyLimits(1.5, (Season("hour", 6, 20, 20.0, 30.0, 10.0, 40.0),)),
        attenuated_signal=AttenuatedSignalLimits(HOUR_US, 0.3, 0.1, method, 3),
    )


moves = st.sampled_from(
    [0.0] * 6 + [0.02, -0.02, 0.05, -0.05, 0.3, -0.3, 0.6, -0.6, 3.0, -3.0, 200.0, NAN, INF, -INF]
)
steps = st.sampled_from([10, 60, 60, 60, 60, 61, 240, 300, 900, 3000, 30_000])


@st.composite
def streams(draw: st.DrawFn) -> tuple[list[int], list[float]]:
    now_us, level = START_US + draw(st.integers(0, 86_400)) * MICROSECONDS, 25.0
    times_us, values = [], []
    for _ in range(draw(st.integers(1, 8))):
        # Stretches of one habit, so that windows fill and runs become long.
        step, move, count = draw(steps), draw(moves), draw(st.integers(1, 40))
        for place in range(count):
            now_us += step * MICROSECONDS
            value = level + (move if place % 2 else 0.0)
            times_us.append(now_us)
            values.append(value)
        if abs(move) < 5:
            level = min(32.0, max(18.0, level + move))
    return times_us, values


def run(suite: QualitySuite, times_us, values, cuts) -> tuple[list[int], list[int]]:
    """Primary and packed flags as they stand in the end; a flag may only change while it is pending."""
    primary: list[int] = []
    packed: list[int] = []
    places = [0, *sorted({cut for cut in cuts if 0 < cut < len(values)}), len(values)]
    for start, end in pairwise(places):
        verdicts = suite.judge(times_us[start:end], values[start:end])
        assert len(verdicts.primary) == len(verdicts.packed) == end - start
        if verdicts.revised is not None:
            time_us, flag, bits = verdicts.revised
            place = times_us.index(time_us)
            before, after = unpack(packed[place]), unpack(bits)
            assert {name: flag for name, flag in after.items() if name != "spike"} == before
            assert "spike" in after
            primary[place], packed[place] = flag, bits
        primary += verdicts.primary
        packed += verdicts.packed
    return primary, packed


def suite_of(method: str) -> QualitySuite:
    suite = QualitySuite(rules_of(method))
    suite.set_band_source(Swinging())
    return suite


@pytest.mark.parametrize("method", ["range", "deviation"])
@settings(max_examples=few(100))
@given(stream=streams(), cuts=st.lists(st.integers(1, 300), max_size=12))
def test_flags_are_the_same_for_any_cut(method, stream, cuts):
    times_us, values = stream
    whole = run(suite_of(method), times_us, values, [])
    assert run(suite_of(method), times_us, values, cuts) == whole
    # Live: one reading at a time.
    assert run(suite_of(method), times_us, values, range(len(values))) == whole


@pytest.mark.parametrize(("method", "spike"), [("range", "average"), ("deviation", "differential")])
@pytest.mark.parametrize("deviations", [None, 2.0])
@settings(max_examples=few(100))
@given(stream=streams(), quiet=st.floats(0.0, 0.2), before=st.integers(0, 40))
def test_a_survey_changes_no_flag(method, spike, deviations, stream, quiet, before):
    """Nor what the tests keep: what comes behind the surveyed readings is flagged the same, too."""
    times_us, values = stream
    # A survey is made of whole readings only; quiet ones among them, so that stretches pass.
    chance = np.random.default_rng(len(values))
    values = [value if value == value else 25.0 for value in values]
    values = [value + quiet * float(chance.normal()) for value in values]
    rules = replace(
        rules_of(method),
        spike=SpikeLimits(0.4, 1.5, spike),
        rate_of_change=RateOfChangeLimits(400.0, deviations, HOUR_US, 0.01),
    )
    flags = []
    for is_surveyed in (False, True):
        suite = QualitySuite(rules)
        suite.set_band_source(Swinging())
        start, end = min(before, len(values) - 1), max(before + 1, len(values) - 20)
        seen = np.array(times_us[start:end], np.int64), np.array(values[start:end])
        found = survey(*seen, seen[0]) if is_surveyed and end - start > 24 else None
        parts = []
        for piece, one in ((slice(0, start), None), (slice(start, end), found), (slice(end, None), None)):
            parts.append(suite.judge(times_us[piece], values[piece], one))
        flags.append(parts)
    assert flags[0] == flags[1]


@settings(max_examples=50)
@given(stream=streams(), cuts=st.lists(st.integers(1, 300), max_size=12), lateness=st.integers(1, 200))
def test_flags_are_the_same_for_any_cut_with_late_readings(stream, cuts, lateness):
    """Through the engine, which sets late readings aside."""
    times_us, values = stream
    places = list(range(len(times_us)))
    for place in range(lateness % 7, len(places), 7):
        # Every seventh comes some readings later than it should.
        places.insert(min(len(places) - 1, place + lateness % 5), places.pop(place))
    times, column = np.array([times_us[p] for p in places], np.int64), np.array([values[p] for p in places])
    engine_rules = EngineRules((TankRules("reef"),), (rules_of(),))
    index = np.zeros(len(places), np.int64)

    def flags(cuts) -> dict[int, int]:
        engine = Engine(engine_rules)
        found: dict[int, int] = {}
        ends = [0, *sorted({cut for cut in cuts if 0 < cut < len(places)}), len(places)]
        for start, end in pairwise(ends):
            outcome = engine.advance(Block(times[start:end], column[start:end], index[start:end]))
            found |= dict(zip(times[start:end].tolist(), outcome.tests, strict=True))
            found |= {one.observed_us: one.tests for one in outcome.revised}
        return found

    assert flags(cuts) == flags([]) == flags(range(len(places)))


@settings(max_examples=30)
@given(stream=streams(), days=st.integers(1, 5))
def test_whole_weeks_shift_nothing(stream, days):
    """Seasons by the hour and cells are aligned to the clock: a week later it stands as before."""
    times_us, values = stream
    later = [time_us + days * 7 * 24 * HOUR_US for time_us in times_us]
    rules = rules_of()
    assert run(QualitySuite(rules), times_us, values, []) == run(QualitySuite(rules), later, values, [])


@settings(max_examples=50)
@given(stream=streams())
def test_a_tighter_limit_never_clears_a_flag(stream):
    times_us, values = stream
    for loose, tight in (
        ({"spike": SpikeLimits(1.0, 2.0)}, {"spike": SpikeLimits(0.5, 1.0)}),
        ({"rate_of_change": RateOfChangeLimits(60.0)}, {"rate_of_change": RateOfChangeLimits(20.0)}),
        (
            {"flat_line": FlatLineLimits(0.02, 20 * MINUTE, 40 * MINUTE)},
            {"flat_line": FlatLineLimits(0.05, 10 * MINUTE, 30 * MINUTE)},
        ),
        (
            {"attenuated_signal": AttenuatedSignalLimits(HOUR_US, 0.1, 0.02)},
            {"attenuated_signal": AttenuatedSignalLimits(HOUR_US, 0.3, 0.1)},
        ),
    ):
        suites = (QualitySuite(SeriesRules("reef", "x", "ph", **limits)) for limits in (loose, tight))
        before, after = (run(suite, times_us, values, [])[0] for suite in suites)
        for old, new in zip(before, after, strict=True):
            assert old not in (3, 4) or new >= old


def test_inputs_are_not_written_to():
    times_us, values = [START_US, START_US + MINUTE], [25.0, NAN]
    suite_of("range").judge(times_us, values)
    assert times_us == [START_US, START_US + MINUTE]
    assert values[0] == 25.0


def test_no_readings_have_no_flags():
    assert suite_of("range").judge([], []) == ([], [], None)


def test_every_test_of_readings_is_in_the_laws():
    rules = rules_of()
    assert all(getattr(rules, name) is not None for name in TESTS if name not in STEP_TESTS)


def sizes(suite: QualitySuite) -> int:
    """How many elements and bytes all containers within hold."""
    seen: set[int] = set()
    total = 0
    waiting: list[object] = [getattr(suite, name) for name in suite.__slots__]
    while waiting:
        one = waiting.pop()
        if id(one) in seen or isinstance(one, type) or one is None:
            continue
        seen.add(id(one))
        if isinstance(one, list | deque | array | dict | tuple):
            total += len(one) + sys.getsizeof(one)
        if type(one).__module__.startswith("rules.") or isinstance(one, list | deque | tuple):
            waiting += gc.get_referents(one)
    return total


@pytest.mark.parametrize("method", ["range", "deviation"])
@pytest.mark.parametrize("kind", ["noise", "stuck", "ramp", "flicker", "missing"])
def test_state_does_not_grow_with_the_stream(method, kind):
    """After its longest window a suite holds about what it holds ten and twenty windows later."""
    suite = suite_of(method)
    chance = np.random.default_rng(7)
    held = []
    for hour in range(60):
        places = np.arange(360)
        values = {
            "noise": 25 + chance.normal(0, 0.2, 360),
            "stuck": np.full(360, 25.0),
            "ramp": 20 + 1e-5 * (hour * 360 + places),
            "flicker": 25 + 0.03 * (places % 2),
            "missing": np.where(places % 5 == 0, NAN, 25 + chance.normal(0, 0.001, 360)),
        }[kind].tolist()
        times_us = [START_US + hour * HOUR_US + int(place) * 10 * MICROSECONDS for place in places]
        for place in range(0, 360, 20):
            suite.judge(times_us[place : place + 20], values[place : place + 20])
        held.append(sizes(suite))
    assert max(held[10:]) <= 1.25 * max(held[3:10]) + 2000
    assert max(held) < 400_000
