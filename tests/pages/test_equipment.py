"""What is said of equipment and of the reservoir: computed tanks whose answer is known beforehand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.pages.day import NO_DAY, day_of
from collector.pages.equipment import Power, daily_use, equipment_now, reservoir_text
from collector.pages.labels import SeriesLabel
from collector.store import Buckets
from rules import HOUR_US, WeekProfile
from tests.pages import tank
from tests.pages.tank import NOW

POWER = SeriesLabel("reef", "heater_power", "Heater power", "power", None)
VOLUME = SeriesLabel("reef", "reservoir", "Reservoir", "volume", None)
WATER = SeriesLabel("reef", "temperature", "Water", "temperature", None)


def buckets(means: np.ndarray, width_us: int, end_us: int) -> Buckets:
    starts_us = end_us - width_us * np.arange(len(means), 0, -1)
    return Buckets(starts_us, means, means, means, np.where(np.isnan(means), 0, 9))


@given(litres_a_day=st.floats(0.5, 12.0), refill_every_h=st.integers(20, 120), seed=st.integers(0, 99))
def test_use_is_found_through_refills_and_noise(litres_a_day: float, refill_every_h: int, seed: int) -> None:
    hours = np.arange(168.0)
    full = 12.0 + litres_a_day * refill_every_h / 24
    level = full - litres_a_day / 24 * (hours % refill_every_h)
    noisy = level + np.random.default_rng(seed).uniform(-0.05, 0.05, 168)
    # Of noise only the ends count, and both sides of each refill.
    refills = 168 // refill_every_h
    allowed = (2 + 2 * refills) * 0.05 / 7 + 0.005
    # Between the hours of a refill nothing of the use is seen.
    hidden = litres_a_day * refills / 167
    assert daily_use(buckets(noisy, HOUR_US, NOW)) == pytest.approx(litres_a_day, abs=allowed + hidden)


@pytest.mark.parametrize(
    "means", [[], [5.0], [9.0, 8.0], [5.0] * 100, [5.0 + hour / 100 for hour in range(40)]]
)
def test_nothing_is_told_of_a_reservoir_that_is_not_used_or_not_known(means: list[float]) -> None:
    assert daily_use(buckets(np.array(means), HOUR_US, NOW)) is None


@pytest.mark.parametrize(
    ("value", "a_day", "text"),
    [
        (17.7, 4.0, "17.7 L, about 4 days at 4 L a day"),
        (3.0, 4.0, "3.0 L, about 18 hours at 4 L a day"),
        (400.0, 4.0, "400.0 L, more than 60 days"),
        (0.0, 4.0, ""),
    ],
)
def test_reservoir_in_words(value: float, a_day: float, text: str) -> None:
    level = 200.0 - a_day / 24 * np.arange(168.0)
    assert reservoir_text(VOLUME, value, buckets(level, HOUR_US, NOW)) == text


def test_equipment_is_told_by_its_power_by_faults_or_not_at_all() -> None:
    day = day_of(POWER, buckets(np.array([200.0, 0.0, 0.0, 0.0] * 24), HOUR_US // 4, NOW), None, NOW)
    equipment = frozenset({"heater", "chiller", "top_off", "lights"})
    powers = {"heater_power": Power(POWER, 200.0, day)}
    told = {one.key: one for one in equipment_now(equipment, powers, (), NOW, "UTC")}
    assert told["heater"].text == "on (200 W); on 25 % of the last day"
    assert told["chiller"].text == "no sign of a fault; no series tells when it is on"
    assert set(told) == {"heater", "chiller", "top_off"}
    assert not any(one.has_failed for one in told.values())
    failed = tank.heater_incident().incident
    off = {"heater_power": Power(POWER, 0.0, replace(NO_DAY, share=0.4))}
    (heater, *_) = equipment_now(equipment, off, (failed,), NOW, "Europe/Madrid")
    assert heater.has_failed
    assert heater.text == "heater failed off since 00:15; off; on 40 % of the last day"
    silent = {"heater_power": Power(POWER, None, NO_DAY)}
    assert equipment_now(equipment, silent, (), NOW, "UTC")[0].text == "not known, Heater power is silent"


def test_the_usual_band_lies_behind_the_line_where_it_is_known_and_near() -> None:
    flat = buckets(np.full(96, 25.0), HOUR_US // 4, NOW)
    near = WeekProfile("UTC", ((25.2,) * 96,), (0.3,) * 96, 0.99, "day", 0.4, 28, NOW)
    far = WeekProfile("UTC", ((90.0,) * 96,), (0.3,) * 96, 0.99, "day", 0.4, 28, NOW)
    drawn = day_of(WATER, flat, near, NOW)
    heights = sorted({float(one.split(",")[1]) for one in drawn.band[1:-1].replace("L", " ").split()})
    line = float(drawn.line[1:].split(" ")[0].split(",")[1])
    # The value is 0.1 over the lower edge of a band 0.6 high: a sixth of it from below.
    assert (heights[1] - line) / (heights[1] - heights[0]) == pytest.approx(1 / 6, abs=0.01)
    assert day_of(WATER, flat, far, NOW).band == ""
    assert day_of(WATER, flat, None, NOW).band == ""
    assert day_of(WATER, buckets(np.full(96, np.nan), HOUR_US // 4, NOW), near, NOW) == NO_DAY
    assert drawn.words == "25.0 °C"
