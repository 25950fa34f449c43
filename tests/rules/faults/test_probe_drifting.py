"""A probe that leaves its course slowly: beside a neighbour, alone, and against what evaporation can do.

A glass electrode that drifts by 0.1 pH a month asks for a calibration, thermometers agree to 0.1 degC, and a
hobby probe of salinity is good for 0.5 (common practice, no source). Here they drift faster: days suffice.
"""

from __future__ import annotations

import numpy as np
import pytest

from rules import Priority, Sign
from tests.rules.faults.plain_probe import BASIC, FAULT, Usual, Wrong, hear

TWO = ("temperature", "temperature_2")


def drift(a_day: float) -> Wrong:
    return lambda since, values: values + a_day * since / 24.0


def to_offset(size: float, days: float = 2.0) -> Wrong:
    """Within some days to an offset that stays."""
    return lambda since, values: values + size * np.minimum(since / (24.0 * days), 1.0)


@pytest.mark.parametrize("a_day", [0.1, -0.1])
def test_of_two_thermometers_the_one_that_left_its_course_is_named(a_day: float):
    told = hear({"temperature": drift(a_day)}, TWO, hours=FAULT + 96.0, equipment=frozenset())
    hours, event = told.first("probe_drifting")
    assert (event.alarm.series, event.priority) == ("temperature", Priority.LOW)
    assert event.evidence.reasons[0].sign is Sign.NEIGHBOR
    assert "temperature_2" in event.concerns
    # 0.2 degC are reached after two days.
    assert 36.0 < hours < 72.0
    assert told.of("temperature_2") == []


# 0.2 degC apart; two good ones agree to 0.1.
@pytest.mark.parametrize(("size", "is_named"), [(0.15, False), (0.17, False), (0.25, True)])
def test_how_far_two_thermometers_must_part(size: float, is_named: bool):
    told = hear({"temperature": to_offset(size)}, TWO, hours=FAULT + 96.0, equipment=frozenset())
    assert ("probe_drifting" in told.causes) is is_named


def test_water_that_warms_moves_both():
    wrong = {name: drift(0.15) for name in TWO}
    assert "probe_drifting" not in hear(wrong, TWO, hours=FAULT + 96.0, equipment=frozenset()).causes


@pytest.mark.parametrize("a_day", [0.05, -0.05])
def test_ph_that_keeps_its_day_and_leaves_its_course_is_named_in_days(a_day: float):
    told = hear({"ph": drift(a_day)}, hours=FAULT + 144.0, baselines={"ph": Usual("ph", half=0.1)})
    hours, event = told.first("probe_drifting")
    assert (event.alarm.series, event.evidence.reasons[0].sign) == ("ph", Sign.DRIFT)
    assert 24.0 < hours < 120.0


def test_ph_that_loses_its_day_too_is_water_or_a_dead_probe():
    """What drifts for want of circulation or air loses the swing of the light."""
    rng = np.random.default_rng(4)

    def flat(since: np.ndarray, values: np.ndarray) -> np.ndarray:
        return 8.2 + 0.05 * since / 24.0 + 0.008 * rng.standard_normal(len(values))

    told = hear({"ph": flat}, hours=FAULT + 120.0, baselines={"ph": Usual("ph", half=0.1)})
    assert "probe_drifting" not in told.of("ph")


def test_salinity_that_rises_while_the_level_is_held_is_a_probe():
    told = hear({"practical_salinity": drift(0.25)}, hours=FAULT + 120.0)
    hours, event = told.first("probe_drifting")
    assert event.alarm.series == "practical_salinity"
    assert Sign.LEVEL in {reason.sign for reason in event.evidence.reasons}
    assert 24.0 < hours < 96.0


@pytest.mark.parametrize("names", [("practical_salinity",), BASIC], ids=["alone", "nothing holds the level"])
def test_where_nothing_holds_the_level_salinity_goes_its_own_ways(names: tuple[str, ...]):
    told = hear({"practical_salinity": drift(0.25)}, names, hours=FAULT + 120.0, equipment=frozenset())
    assert "probe_drifting" not in told.causes


def test_salinity_that_rises_as_the_level_falls_is_water_that_went():
    wrong = {"practical_salinity": drift(0.25), "sump_level": drift(-1.0)}
    assert "probe_drifting" not in hear(wrong, hours=FAULT + 120.0).of("practical_salinity")


def test_one_thermometer_alone_is_believed():
    told = hear({"temperature": drift(0.15)}, hours=FAULT + 120.0, equipment=frozenset())
    assert "probe_drifting" not in told.causes


@pytest.mark.parametrize("name", ["ph", "practical_salinity"])
def test_a_calibration_is_a_step_and_no_drift(name: str):
    size = {"ph": 0.12, "practical_salinity": 0.5}[name]
    told = hear({name: lambda since, values: values + size}, hours=FAULT + 96.0)
    assert "probe_drifting" not in told.of(name)


def test_while_learning_nothing_is_known_of_drift():
    assert "probe_drifting" not in hear({"ph": drift(0.05)}, hours=FAULT + 120.0, learns=True).causes


def test_two_weeks_of_good_probes_ring_for_nothing():
    assert hear(names=(*BASIC, "temperature_2"), hours=14 * 24.0, every=5).causes == []
