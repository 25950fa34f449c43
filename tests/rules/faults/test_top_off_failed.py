"""Top-off failed: named by half of what a fixed limit takes, its kinds told apart; and what is none."""

from __future__ import annotations

import numpy as np
import pytest

from rules import Priority, Sign
from tests.rules.faults.plain_water import ALL, BASIC, FAULT, Water, between, from_fault, hear, listen

DEAD = from_fault(0.0, 1.0)


# 400 L lose 4 L a day, 0.93 mm/h in 0.18 m2 (arithmetic): a limit 3 cm below the upper mark takes 32 h.
@pytest.mark.parametrize("names", [BASIC, ("sump_level",), ALL], ids=["basic", "level alone", "all"])
@pytest.mark.parametrize("volume", [80.0, 400.0, 1500.0])
def test_it_is_named_in_less_than_half_of_what_a_limit_takes(names, volume):
    water = Water(volume, pump_works=DEAD, hours=FAULT + 24.0, reservoir=0.2 * volume)
    hours_of_a_limit = 3.0 / (volume * 0.01 / 24.0 / water.area / 10.0)
    told = listen(water, names)
    hours, event = told.first("top_off_failed")
    assert told.causes[0] == "top_off_failed"
    assert 0.0 < hours < hours_of_a_limit / 2
    assert event.priority is Priority.HIGH
    assert event.evidence.rate_per_hour < 0.0


def test_a_dead_pump_shows_in_its_power():
    evidence = listen(Water(pump_works=DEAD), ALL).first("top_off_failed")[1].evidence
    assert evidence.confidence >= 0.85
    (power,) = (reason for reason in evidence.reasons if reason.sign is Sign.POWER)
    assert power.value == 0.0


def test_a_blocked_hose_runs_its_pump_and_leaves_the_reservoir_full():
    water = Water(pump_works=DEAD)
    columns = water.shown(ALL)
    low = columns["sump_level"] < 21.4
    columns["top_off_power"][low] = 8.0
    evidence = hear(columns).first("top_off_failed")[1].evidence
    assert evidence.confidence >= 0.85
    (power,) = (reason for reason in evidence.reasons if reason.sign is Sign.POWER)
    (kept,) = (reason for reason in evidence.reasons if reason.series == "reservoir")
    assert power.value == 8.0
    assert kept.value == pytest.approx(0.0, abs=0.3)


# Empty is less than 4 % of 60 L.
@pytest.mark.parametrize(("litres", "is_named"), [(2.6, False), (2.2, True)])
def test_an_empty_reservoir_is_named_before_the_level_falls(litres, is_named):
    columns = Water(hours=FAULT + 4.0).shown(ALL)
    columns["reservoir"][:] = 60.0
    columns["reservoir"][int(FAULT * 60) :] = litres
    told = hear(columns)
    assert ("top_off_failed" in told.causes) is is_named
    if is_named:
        assert 1.0 <= told.first("top_off_failed")[0] < 1.6


def test_a_reservoir_that_its_pump_has_emptied_is_named_at_once_and_not_urgently():
    told = listen(Water(reservoir=1.002 * 4.0 * FAULT / 24.0), ("sump_level", "reservoir"))
    hours, event = told.first("top_off_failed")
    assert hours < 0.5
    assert event.priority is Priority.LOW


def test_a_reservoir_taken_out_to_be_cleaned_is_not_empty():
    columns = Water(hours=FAULT + 4.0).shown(ALL)
    start = int(FAULT * 60)
    columns["reservoir"][:] = 60.0
    columns["reservoir"][start : start + 45] = 0.0
    assert hear(columns).causes == []


# The margin is 0.2 cm below the lower mark, 0.5 below the upper.
@pytest.mark.parametrize(("below", "is_named"), [(0.14, False), (0.30, True)])
def test_the_level_must_fall_below_the_mark_by_the_margin(below, is_named):
    minutes = int((FAULT + 12.0) * 60)
    hour = np.arange(minutes) / 60.0
    quiet = 22.0 - 0.5 * (hour % 5.0) / 5.0
    start = int(FAULT * 60)
    level = quiet.copy()
    level[start:] = np.maximum(quiet[start], 0.0) - np.minimum(0.1 * (hour[start:] - FAULT), 0.5 + below)
    level[start:] += 22.0 - quiet[start]
    level += 0.01 * np.random.default_rng(1).standard_normal(minutes)
    assert ("top_off_failed" in hear({"sump_level": level}).causes) is is_named


def test_a_top_off_unplugged_for_a_water_change_has_not_failed():
    water = Water(
        volume=600.0,
        taken=between(0.0, 1 / 3, 180.0),
        given=between(0.5, 0.5 + 1 / 3, 180.0),
        pump_works=between(0.0, 1.0, 0.0, 1.0),
    )
    assert listen(water, ALL).causes == []


def test_it_is_not_looked_for_where_water_is_filled_in_by_hand():
    told = listen(Water(is_automatic=False, hours=168.0), equipment=frozenset())
    assert "top_off_failed" not in told.causes
