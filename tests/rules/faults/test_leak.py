"""Leaks: through a top-off that hides them, past one that cannot, on the floor; and what is none."""

from __future__ import annotations

import numpy as np
import pytest

from rules import Priority, Sign
from tests.rules.faults.plain_water import ALL, BASIC, FAULT, Water, between, from_fault, hear, listen


# Salt goes with the leak: 35 r/V an hour, 0.35 for 4 L/h out of 400 L (arithmetic).
@pytest.mark.parametrize(
    ("volume", "litres", "hours"), [(80.0, 2.0, 2.0), (400.0, 4.0, 2.5), (400.0, 1.0, 8.0)]
)
@pytest.mark.parametrize("names", [BASIC, ALL], ids=["basic", "all"])
def test_a_leak_that_the_top_off_replaces_is_named_by_the_salt(volume, litres, hours, names):
    told = listen(Water(volume, leak=from_fault(litres), pump=12.0, reservoir=200.0), names)
    assert told.causes[0] == "leak"
    after, event = told.first("leak")
    assert 0.0 < after < hours
    assert {reason.sign for reason in event.evidence.reasons} >= {Sign.CHANGE, Sign.LEVEL}


def test_the_reservoir_makes_it_surer():
    water = Water(leak=from_fault(2.0), pump=12.0, reservoir=200.0)
    alone = listen(water).first("leak")[1].evidence.confidence
    assert listen(water, ALL).first("leak")[1].evidence.confidence >= alone


@pytest.mark.parametrize("names", [BASIC, ALL], ids=["basic", "all"])
def test_a_leak_that_outruns_the_pump_is_named_by_the_level(names):
    told = listen(Water(leak=from_fault(12.0), pump=3.0), names)
    hours, event = told.first("leak")
    assert hours < 1.5
    assert event.priority is Priority.URGENT
    assert told.causes[0] == "leak"


def test_a_leak_without_a_top_off_is_named_by_how_fast_the_level_falls():
    told = listen(Water(leak=from_fault(0.5), is_automatic=False), equipment=frozenset())
    hours, _ = told.first("leak")
    assert 0.0 < hours < 24.0


# A day takes 4 L of 400 L: 0.17 L/h. What is 1.3 times that in all can be the weather.
@pytest.mark.parametrize(("litres", "is_named"), [(0.02, False), (0.5, True)])
def test_a_faster_fall_by_hand_must_be_more_than_the_weather(litres, is_named):
    told = listen(
        Water(leak=from_fault(litres), is_automatic=False, hours=FAULT + 48.0), equipment=frozenset()
    )
    assert ("leak" in told.causes) is is_named


def test_a_wet_floor_is_told_once_and_explained():
    water = Water(leak=from_fault(1.0), pump=12.0)
    columns = water.shown(ALL)
    columns["floor_contact"][int(FAULT * 60) :] = 1.0
    told = hear(columns)
    floor, *others = [(hours, event) for hours, event in told.raised if event.alarm.cause == "leak"]
    assert floor[0] == pytest.approx(0.0, abs=0.01)
    assert (floor[1].alarm.series, floor[1].priority) == ("floor_contact", Priority.URGENT)
    # The fault of the tank joins it: it is about the same series.
    assert all("floor_contact" in event.concerns for _, event in others)


@pytest.mark.parametrize("is_told", [False, True], ids=["return runs on", "return off"])
@pytest.mark.parametrize("names", [BASIC, ALL], ids=["basic", "all"])
def test_a_water_change_is_no_leak(is_told, names):
    """Sixty litres out in twenty minutes, and in again: over within the hour (common practice)."""
    water = Water(
        volume=600.0,
        taken=between(0.0, 1 / 3, 180.0),
        given=between(0.5, 0.5 + 1 / 3, 180.0),
        returns=between(0.0, 1.0, 0.0, 1.0) if is_told else lambda _: 1.0,
        pump_works=between(0.0, 1.0, 0.0, 1.0),
    )
    assert listen(water, names).causes == []


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("names", [BASIC, ALL], ids=["basic", "all"])
def test_a_quiet_week_rings_for_nothing(seed, names):
    water = Water(
        hours=168.0,
        seed=seed,
        band_cm=0.3 + 0.2 * seed,
        returns=lambda hour: 0.0 if 18.0 <= hour % 24.0 < 18.3 else 1.0,
    )
    assert listen(water, names).causes == []


def test_a_calibration_of_the_salinity_probe_is_one_step_and_no_leak():
    assert "leak" not in listen(Water(salt_offset=from_fault(-0.8))).causes


def test_salinity_that_drifts_while_no_more_than_usual_comes_in_is_no_sure_leak():
    """-0.3 a day is a fouled cell, or 3.4 L a day of 400: the reservoir gives no more than usual."""
    drift = Water(
        salt_offset=lambda hour: -0.0125 * max(0.0, hour - FAULT), hours=FAULT + 48.0, reservoir=200.0
    )
    assert "leak" not in listen(drift, ALL).causes


def test_an_empty_room_without_series_is_not_judged():
    told = hear({"ph": np.full(6 * 24 * 60, 8.1)})
    assert told.causes == []


@pytest.mark.parametrize("shown", [0.0, 0.1, 9.9])
@pytest.mark.parametrize("names", [BASIC, ALL], ids=["basic", "all"])
def test_a_salinity_probe_in_air_is_no_leak_and_no_overdose(shown, names):
    """It shows next to nothing, and 0.0 itself divides nothing."""
    columns = Water(hours=FAULT + 8.0).shown(names)
    columns["practical_salinity"][int(FAULT * 60) :] = shown
    told = hear(columns, equipment=frozenset({"top_off", "limewater_stirrer"}))
    assert not {"leak", "top_off_overdose", "top_off_failed"} & set(told.causes)


def test_parameters_of_nothing_are_taken_as_the_least_that_a_probe_shows():
    codes = {"leak": {"margin": 0.0, "least_ratio": 0.0}, "top_off_failed": {"margin": 0.0}}
    codes |= {"top_off_overdose": {"margin": 0.0}}
    still = Water(hours=FAULT + 12.0, leak=from_fault(4.0), pump=12.0, noise={})
    assert "leak" in listen(still, faults=codes).causes
