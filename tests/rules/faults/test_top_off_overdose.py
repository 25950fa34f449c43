"""Top-off overdose: a switch that sticks, a siphon, limewater in it; and pauses that lift the sump, too."""

from __future__ import annotations

import pytest

from rules import HOUR_US, Priority, Sign
from tests.rules.faults.plain_water import ALL, BASIC, FAULT, START_US, Water, between, from_fault, listen

STUCK = from_fault(1.0)
LIME = frozenset({"top_off", "limewater_stirrer"})


# 8 L/h lift 0.18 m2 by 4.4 cm/h, 2 L/h by 1.1 cm/h less what evaporates (arithmetic).
@pytest.mark.parametrize(("litres", "hours"), [(8.0, 1.0), (2.0, 1.5), (0.5, 5.0)])
@pytest.mark.parametrize("names", [BASIC, ("sump_level",), ALL], ids=["basic", "level alone", "all"])
def test_a_pump_that_runs_on_is_named(litres, hours, names):
    told = listen(Water(pump=litres, pump_forced=STUCK, hours=FAULT + 12.0, reservoir=200.0), names)
    after, event = told.first("top_off_overdose")
    assert told.causes[0] == "top_off_overdose"
    assert 0.0 < after < hours
    assert event.priority is Priority.URGENT


@pytest.mark.parametrize("names", [BASIC, ALL], ids=["basic", "all"])
def test_a_siphon_is_named(names):
    told = listen(Water(dribble=from_fault(1.0), hours=FAULT + 12.0, reservoir=200.0), names)
    assert told.causes[0] == "top_off_overdose"
    assert told.first("top_off_overdose")[0] < 3.0


def test_power_makes_it_surer():
    water = Water(pump_forced=STUCK, reservoir=200.0)
    alone = listen(water).first("top_off_overdose")[1].evidence
    told = listen(water, ALL).first("top_off_overdose")[1].evidence
    assert told.confidence > 0.8
    assert told.confidence >= alone.confidence
    assert Sign.POWER in {reason.sign for reason in told.reasons}


def test_limewater_tells_what_it_does_to_alkalinity_and_when_ph_is_dangerous():
    """Published for 400 L: a litre on top adds 0.0950 meq/L and, from 8.137, 0.137 pH.

    8 L/h are 0.7476 meq/L in an hour, and lead from pH 8.137 to 8.87 in that hour.
    """
    water = Water(pump=8.0, pump_forced=STUCK, reservoir=200.0)
    _, event = listen(water, ALL, equipment=LIME).first("top_off_overdose")
    rises = {reason.sign: reason.value for reason in event.evidence.reasons if reason.series != "sump_level"}
    assert rises[Sign.ALKALINITY] == pytest.approx(0.75, rel=0.15)
    assert rises[Sign.BALANCE] == pytest.approx(0.7, abs=0.15)
    assert event.evidence.danger == 8.9
    assert 0.5 < (event.evidence.danger_at_us - event.at_us) / HOUR_US < 2.0
    assert event.at_us > START_US
    assert "ph" in event.concerns


def test_fresh_water_tells_nothing_of_limewater():
    _, event = listen(Water(pump_forced=STUCK, reservoir=200.0), ALL).first("top_off_overdose")
    assert Sign.ALKALINITY not in {reason.sign for reason in event.evidence.reasons}
    assert event.evidence.danger in (None, 30.0)


@pytest.mark.parametrize("minutes", [10, 30])
@pytest.mark.parametrize("names", [BASIC, ALL], ids=["basic", "all"])
def test_a_feeding_pause_is_no_overdose(minutes, names):
    """The return stands, and 8 L drain back within minutes: 4.4 cm in 0.18 m2."""
    water = Water(returns=between(0.0, minutes / 60.0, 0.0, 1.0), hours=FAULT + 6.0)
    assert listen(water, names).causes == []


def test_a_return_pump_that_stands_for_hours_is_no_overdose():
    told = listen(Water(returns=from_fault(0.0, 1.0), hours=FAULT + 6.0))
    assert "top_off_overdose" not in told.causes


def test_a_sump_that_is_a_little_fuller_after_a_water_change_is_no_overdose():
    water = Water(
        volume=600.0,
        taken=between(0.0, 1 / 3, 180.0),
        given=between(0.5, 0.5 + 1 / 3, 183.0),
        pump_works=between(0.0, 1.0, 0.0, 1.0),
    )
    assert "top_off_overdose" not in listen(water).causes


# The margin is 0.2 cm above the upper mark.
@pytest.mark.parametrize(("margin", "is_named"), [(5.0, False), (0.2, True)])
def test_the_margin_decides(margin, is_named):
    water = Water(pump=2.0, pump_forced=between(0.0, 3.0, 1.0), hours=FAULT + 4.0, reservoir=200.0)
    told = listen(water, ("sump_level",), faults={"top_off_overdose": {"margin": margin}})
    assert ("top_off_overdose" in told.causes) is is_named
