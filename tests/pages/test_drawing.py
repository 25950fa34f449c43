"""Geometry of charts, against what a ruler says."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.pages.drawing import draw
from collector.pages.labels import SeriesLabel
from collector.pages.ticks import time_ticks
from rules import LimitAlarm, Priority, SeriesRules
from tests.pages.tank import HOUR, MINUTE, at

DAY = 24 * HOUR


class Columns(NamedTuple):
    """Buckets as the record gives them."""

    starts_us: npt.NDArray[np.int64]
    low: npt.NDArray[np.float64]
    mean: npt.NDArray[np.float64]
    high: npt.NDArray[np.float64]
    counts: npt.NDArray[np.int64]


def columns(values: list[float], start_us: int = 0, step_us: int = MINUTE) -> Columns:
    array = np.array(values)
    starts_us = start_us + step_us * np.arange(len(values), dtype=np.int64)
    return Columns(starts_us, array, array, array, np.isfinite(array).astype(np.int64))


def label(*setpoints: tuple[float, bool]) -> SeriesLabel:
    alarms = tuple(
        LimitAlarm(setpoint, is_high, False, 0.1, MINUTE, MINUTE, Priority.HIGH)
        for setpoint, is_high in setpoints
    )
    rules = SeriesRules("reef", "temperature", "temperature", limit_alarms=alarms)
    return SeriesLabel("reef", "temperature", "Temperature", "temperature", rules)


def test_line_runs_from_the_lowest_at_the_bottom_to_the_highest_at_the_top() -> None:
    chart = draw(label(), columns([20.0, 22.0]), 0, 2 * MINUTE, "UTC")
    # The middles of two buckets are at a quarter and three quarters; 6 % of the span stays free.
    margin = 1000 * 0.06 / 1.12
    assert chart.line == f"M250,{1000 - margin:.0f} 750,{margin:.0f}"


def test_flat_values_lie_in_the_middle_and_are_not_blown_up() -> None:
    chart = draw(label(), columns([20.0, 20.001, 20.0]), 0, 3 * MINUTE, "UTC")
    heights = [float(point.split(",")[1]) for point in chart.line[1:].split(" ")]
    assert all(abs(height - 500) < 2 for height in heights)


@pytest.mark.parametrize(("setpoint", "is_drawn"), [(25.0, True), (26.9, True), (27.1, False)])
def test_limit_is_drawn_where_it_does_not_flatten_the_values(setpoint: float, is_drawn: bool) -> None:
    """Values span 2 degC from 22 to 24; one and a half spans above is 27."""
    chart = draw(label((setpoint, True)), columns([22.0, 24.0]), 0, 2 * MINUTE, "UTC")
    assert bool(chart.limits) is is_drawn
    if is_drawn:
        assert 0 < chart.limits[0].at < 10


@given(st.lists(st.integers(0, 99), min_size=1, max_size=6))
def test_words_of_moments_never_stand_over_each_other(places: list[int]) -> None:
    """On a phone, where a letter takes 2.2 per cent of the plot's width."""
    names = ("first evidence", "alarm", "returned to normal", "alarm 12", "x", "it began")
    moments = [(at * MINUTE, name, "alarm") for at, name in zip(sorted(places), names, strict=False)]
    drawn = draw(label(), columns([20.0, 22.0]), 0, 100 * MINUTE, "UTC", moments=moments).moments
    assert [one.at for one in drawn] == sorted(places)
    assert ", ".join(one.text for one in drawn if one.text) == ", ".join(name for _, name, _ in moments)
    boxes = []
    for one in (one for one in drawn if one.text):
        left = one.at if one.anchor == "start" else one.at - 2.2 * len(one.text)
        boxes.append((one.row, left, left + 2.2 * len(one.text)))
    for number, (row, left, right) in enumerate(boxes):
        for other_row, other_left, other_right in boxes[number + 1 :]:
            assert row != other_row or right <= other_left or other_right <= left


@given(
    values=st.lists(st.floats(22.0, 28.5), min_size=2, max_size=60),
    setpoints=st.lists(st.floats(22.0, 28.5), max_size=4, unique=True),
)
def test_words_of_limits_never_stand_on_what_was_measured(
    values: list[float], setpoints: list[float]
) -> None:
    """Looked at point by point on the line between the buckets; a line of words is 8 per cent high."""
    limits = label(*((one, True) for one in setpoints))
    drawn = draw(limits, columns(values), 0, len(values) * MINUTE, "UTC")
    points = [tuple(map(float, part.split(","))) for part in drawn.line[1:].replace("M", " ").split()]
    across = np.linspace(points[0][0], points[-1][0], 2000)
    line = np.interp(across, *zip(*points, strict=True)) / 10
    for limit in drawn.limits:
        if limit.place is None:
            continue
        width = 2.2 * len(limit.text)
        left = limit.place.x - {"start": 0.0, "middle": width / 2, "end": width}[limit.place.anchor]
        beside = line[(across / 10 >= left) & (across / 10 <= left + width)]
        top = limit.at - 8.0 if limit.place.is_above else limit.at + 2.0
        assert not ((beside > top) & (beside < top + 6.0)).any()


def test_ticks_of_a_day_are_wall_times_of_the_tank() -> None:
    end_us = at("2026-03-07T01:45:00")
    ticks = time_ticks(end_us - DAY, end_us, "Europe/Madrid")
    assert [tick.text for tick in ticks] == ["06:00", "12:00", "18:00", "Sat"]
    assert ticks[0].at == pytest.approx(100 * (3 * 60 + 15) / (24 * 60), abs=0.01)


def test_ticks_follow_the_clock_on_the_wall_over_its_change() -> None:
    """Central European Summer Time begins on 29 March 2026 at 01:00 UTC (Directive 2000/84/EC)."""
    end_us = at("2026-03-29T12:00:00")
    ticks = time_ticks(end_us - DAY, end_us, "Europe/Madrid")
    assert [tick.text for tick in ticks] == ["18:00", "Sun", "06:00", "12:00"]
    # 18:00 is 17:00 UTC, 06:00 is 04:00 UTC: eleven hours apart.
    assert ticks[2].at - ticks[0].at == pytest.approx(100 * 11 / 24, abs=0.02)


@given(
    end_s=st.integers(0, 4_000_000_000),
    span_s=st.integers(60, 400 * 86_400),
    zone=st.sampled_from(["UTC", "Europe/Madrid", "Asia/Kathmandu", "America/St_Johns", "Pacific/Auckland"]),
)
def test_ticks_are_few_in_order_inside_and_where_they_say(end_s: int, span_s: int, zone: str) -> None:
    ticks = time_ticks((end_s - span_s) * 1_000_000, end_s * 1_000_000, zone)
    assert len(ticks) <= 8
    places = [tick.at for tick in ticks]
    assert places == sorted(places)
    assert all(0 <= place <= 100 for place in places)
    for tick in ticks:
        if ":" in tick.text:
            instant = datetime.fromtimestamp(round(end_s - span_s + span_s * tick.at / 100), UTC)
            hour, minute = map(int, tick.text.split(":"))
            wall = instant.astimezone(ZoneInfo(zone))
            # Places are rounded to a hundredth of a per cent.
            off = (wall.hour * 60 + wall.minute + wall.second / 60 - hour * 60 - minute + 720) % 1440 - 720
            assert abs(off) <= span_s / 10_000 / 60 + 0.02


@given(st.lists(st.floats(allow_nan=True, allow_infinity=False), max_size=60))
def test_any_values_give_paths_inside_the_square(values: list[float]) -> None:
    chart = draw(label((24.0, False), (27.0, True)), columns(values), 0, 60 * MINUTE, "UTC")
    for part in chart.line.replace("h0", "").replace("M", " ").split():
        x, y = map(float, part.split(","))
        assert 0 <= x <= 1000
        assert 0 <= y <= 1000
    assert all(0 <= tick.at <= 100 for tick in chart.values)
