"""Salinity from two series that arrive apart, and pH at the temperature of the water."""

from __future__ import annotations

import math
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.configuration import (
    Calibration,
    Configuration,
    MqttConfiguration,
    PageConfiguration,
    SeriesConfiguration,
    StoreConfiguration,
)
from collector.derivation import COMPENSATION_US, OTHER_INPUT_US, REMEMBERED, Derivations, History
from collector.errors import ConfigError
from collector.readings import Mark, Reading
from collector.units import converter
from rules import MICROSECONDS, EngineRules, GrossRangeLimits, SeriesRules, physics

SECOND = MICROSECONDS
MINUTE = 60 * SECOND
NOW = 1_790_000_000 * SECOND

# Indexes of the series below.
TEMPERATURE, CONDUCTIVITY, SALINITY, PH, POWER = range(5)
CALIBRATION = Calibration(7.0, -6.0, 10.01, -178.0, 25.0)


def series(name: str, quantity: str, **others: Any) -> SeriesConfiguration:
    return SeriesConfiguration("reef", name, quantity, **others)


def tank(*several: SeriesConfiguration, ranges: GrossRangeLimits | None = None) -> Configuration:
    """A configuration of nothing but series; `ranges` are those of temperatures."""
    rules = tuple(
        SeriesRules(one.tank, one.name, one.quantity, ranges if one.quantity == "temperature" else None)
        for one in several
    )
    return Configuration(
        MqttConfiguration(),
        StoreConfiguration(Path("nowhere")),
        PageConfiguration(),
        (),
        (),
        several,
        (),
        (),
        EngineRules((), rules),
    )


ELECTRODE = series("ph", "ph", unit="mV", calibration=CALIBRATION, temperature_from="temperature")


def reef(ranges: GrossRangeLimits | None = None) -> Derivations:
    return Derivations(
        tank(
            series("temperature", "temperature"),
            series("conductivity", "conductivity"),
            series(
                "salinity",
                "practical_salinity",
                derived_from="conductivity",
                temperature_from="temperature",
            ),
            ELECTRODE,
            series("heater_power", "power"),
            ranges=ranges,
        )
    )


def feed(derivations: Derivations, *readings: tuple[int, int, float]) -> list[Reading]:
    """Hand over readings one by one, asking after each what became due."""
    found = []
    for index, observed_us, value in readings:
        derivations.take(index, observed_us, value)
        found += derivations.derived()
    return found


# -- salinity --------------------------------------------------------------------------------------


# PSS-78: computed with gsw 3.6, and equal to the written-out equations of UNESCO 44 (tests/physics).
@pytest.mark.parametrize(
    ("conductivity", "celsius", "expected"), [(53.0, 25.0, 34.947299), (48.0, 22.0, 33.461263)]
)
@pytest.mark.parametrize("first", [TEMPERATURE, CONDUCTIVITY])
def test_salinity_comes_with_the_second_input_whichever_it_is(
    conductivity: float, celsius: float, expected: float, first: int
) -> None:
    values = {TEMPERATURE: celsius, CONDUCTIVITY: conductivity}
    second = TEMPERATURE + CONDUCTIVITY - first
    (found,) = feed(reef(), (first, NOW, values[first]), (second, NOW + 5 * SECOND, values[second]))
    assert found.series == SALINITY
    assert found.observed_us == NOW + 5 * SECOND
    assert found.value == pytest.approx(expected, abs=5e-7)
    assert found.mark is Mark.DERIVED


def test_every_input_updates_it() -> None:
    found = feed(
        reef(),
        (TEMPERATURE, NOW, 25.0),
        (CONDUCTIVITY, NOW + 5 * SECOND, 53.0),
        (TEMPERATURE, NOW + 10 * SECOND, 25.1),
        (CONDUCTIVITY, NOW + 15 * SECOND, 53.1),
    )
    assert [one.observed_us for one in found] == [NOW + 5 * SECOND, NOW + 10 * SECOND, NOW + 15 * SECOND]
    pairs = [(53.0, 25.0), (53.0, 25.1), (53.1, 25.1)]
    assert [one.value for one in found] == [physics.practical_salinity(*pair) for pair in pairs]


@pytest.mark.parametrize(
    ("apart_us", "is_derived"),
    [(OTHER_INPUT_US - 1, True), (OTHER_INPUT_US, True), (OTHER_INPUT_US + 1, False)],
)
@pytest.mark.parametrize("first", [TEMPERATURE, CONDUCTIVITY])
def test_other_input_may_be_a_quarter_of_an_hour_older(apart_us: int, is_derived: bool, first: int) -> None:
    values = {TEMPERATURE: 25.0, CONDUCTIVITY: 53.0}
    second = TEMPERATURE + CONDUCTIVITY - first
    found = feed(reef(), (first, NOW, values[first]), (second, NOW + apart_us, values[second]))
    assert bool(found) is is_derived


def test_input_that_arrives_second_with_an_earlier_time_gives_the_later_time() -> None:
    (found,) = feed(reef(), (TEMPERATURE, NOW + 5 * SECOND, 25.0), (CONDUCTIVITY, NOW, 53.0))
    assert found.observed_us == NOW + 5 * SECOND


def test_readings_of_one_message_with_one_time_are_combined_with_each_other() -> None:
    derivations = reef()
    feed(derivations, (TEMPERATURE, NOW, 20.0), (CONDUCTIVITY, NOW, 40.0))
    later_us = NOW + 10 * SECOND
    derivations.take(TEMPERATURE, later_us, 25.0)
    derivations.take(CONDUCTIVITY, later_us, 53.0)
    (found,) = derivations.derived()
    assert found == Reading(SALINITY, later_us, physics.practical_salinity(53.0, 25.0), Mark.DERIVED)


def test_no_instant_is_derived_twice() -> None:
    derivations = reef()
    found = feed(
        derivations,
        (TEMPERATURE, NOW, 25.0),
        (CONDUCTIVITY, NOW, 53.0),
        # Redelivered, then another value of the same time: the store keeps the first, and so do we.
        (TEMPERATURE, NOW, 25.0),
        (CONDUCTIVITY, NOW, 99.0),
        # Late: an instant before the newest one derived.
        (CONDUCTIVITY, NOW - SECOND, 52.0),
    )
    assert len(found) == 1
    (after,) = feed(derivations, (TEMPERATURE, NOW + SECOND, 25.0))
    assert after.value == physics.practical_salinity(53.0, 25.0)


def test_backlogs_of_two_boards_that_come_one_after_the_other_are_derived_in_full() -> None:
    """An outage of two hours; first all of the one board arrives, then all of the other."""
    derivations = reef()
    times = [NOW + step * 10 * SECOND for step in range(720)]
    first = feed(derivations, *((TEMPERATURE, at, 25.0 + step / 720) for step, at in enumerate(times)))
    second = feed(
        derivations, *((CONDUCTIVITY, at + SECOND, 53.0 + step / 720) for step, at in enumerate(times))
    )
    assert first == []
    assert [one.observed_us for one in second] == [at + SECOND for at in times]
    assert [one.value for one in second] == [
        physics.practical_salinity(53.0 + step / 720, 25.0 + step / 720) for step in range(720)
    ]


@pytest.mark.parametrize("value", [math.nan, math.inf, -127.0, 85.0, -2.1, 45.1])
def test_temperature_of_no_water_derives_nothing(value: float) -> None:
    assert feed(reef(), (CONDUCTIVITY, NOW, 53.0), (TEMPERATURE, NOW + SECOND, value)) == []


@pytest.mark.parametrize(("value", "is_derived"), [(9.9, False), (10.0, True), (35.0, True), (35.1, False)])
def test_reading_outside_its_sensors_range_derives_nothing(value: float, is_derived: bool) -> None:
    derivations = reef(GrossRangeLimits(sensor_low=10.0, sensor_high=35.0))
    found = feed(derivations, (CONDUCTIVITY, NOW, 53.0), (TEMPERATURE, NOW + SECOND, value))
    assert bool(found) is is_derived


def test_failed_thermometer_does_not_replace_the_last_good_temperature() -> None:
    found = feed(
        reef(),
        (TEMPERATURE, NOW, 25.0),
        (TEMPERATURE, NOW + SECOND, -127.0),
        (CONDUCTIVITY, NOW + 2 * SECOND, 53.0),
    )
    assert [one.value for one in found] == [physics.practical_salinity(53.0, 25.0)]


def test_dry_cell_is_told_as_it_is() -> None:
    (found,) = feed(reef(), (TEMPERATURE, NOW, 25.0), (CONDUCTIVITY, NOW, 0.0))
    assert found.value == 0.0


@pytest.mark.parametrize(
    ("mark", "expected"),
    [
        (Mark.NONE, Mark.DERIVED),
        (Mark.ARRIVAL_TIME | Mark.TIME_UNKNOWN, Mark.ARRIVAL_TIME | Mark.TIME_UNKNOWN | Mark.DERIVED),
        (Mark.LATE, Mark.DERIVED),
    ],
)
def test_marks_of_time_are_inherited(mark: Mark, expected: Mark) -> None:
    derivations = reef()
    derivations.take(TEMPERATURE, NOW, 25.0)
    derivations.derived()
    derivations.take(CONDUCTIVITY, NOW, 53.0, mark)
    assert [one.mark for one in derivations.derived()] == [expected]


def test_specific_conductance_needs_no_temperature() -> None:
    derivations = Derivations(
        tank(
            series("temperature", "temperature"),
            series("conductance", "specific_conductance"),
            series(
                "salinity", "practical_salinity", derived_from="conductance", temperature_from="temperature"
            ),
        )
    )
    # 53.071 mS/cm at 25 degC are salinity 35: computed with gsw 3.6.
    (found,) = feed(derivations, (1, NOW, 53.071))
    assert found.value == pytest.approx(35.0, abs=5e-4)


# -- restart ---------------------------------------------------------------------------------------


def test_after_a_restart_the_stored_input_is_combined_with_the_next_one() -> None:
    derivations = reef()
    derivations.restore(TEMPERATURE, NOW, 25.0)
    assert derivations.derived() == []
    (found,) = feed(derivations, (CONDUCTIVITY, NOW + SECOND, 53.0))
    assert found.value == physics.practical_salinity(53.0, 25.0)


def test_after_a_restart_redelivered_inputs_derive_nothing_again() -> None:
    before = reef()
    stream = [
        (index, NOW + step * SECOND, value + step / 100)
        for step in range(20)
        for index, value in ((TEMPERATURE, 25.0), (CONDUCTIVITY, 53.0))
    ]
    derived = feed(before, *stream)
    after = reef()
    for index, observed_us, value in stream:
        after.restore(index, observed_us, value)
    for index, observed_us, value, _ in derived:
        after.restore(index, observed_us or 0, value)
    assert derived
    assert feed(after, *stream[-6:]) == []


def test_series_that_a_restart_needs() -> None:
    assert reef().concerned == {TEMPERATURE, CONDUCTIVITY, SALINITY}


# -- pH --------------------------------------------------------------------------------------------

TO_PH = converter(None, ELECTRODE)


# Worked example, computed by hand: pH = 7.00 + (E + 6.0) / (-57.1429 T / 298.15).
@pytest.mark.parametrize(
    ("millivolts", "celsius", "expected"),
    [
        (-72.0, 25.0, 8.1550),
        (-72.0, 20.0, 8.1747),
        (-72.0, 30.0, 8.1360),
        (-60.0, 25.0, 7.9450),
        (-60.0, 27.0, 7.9387),
    ],
)
def test_ph_is_that_at_the_temperature_of_the_water(
    millivolts: float, celsius: float, expected: float
) -> None:
    derivations = reef()
    derivations.take(TEMPERATURE, NOW, celsius)
    found = derivations.take(PH, NOW + SECOND, TO_PH(millivolts))
    assert found == pytest.approx(expected, abs=5e-5)
    assert derivations.derived() == []


def test_without_a_temperature_ph_is_that_at_the_temperature_of_calibration() -> None:
    assert reef().take(PH, NOW, TO_PH(-72.0)) == pytest.approx(8.155, abs=5e-5)


@pytest.mark.parametrize(
    ("age_us", "is_compensated"),
    [(COMPENSATION_US - 1, True), (COMPENSATION_US, True), (COMPENSATION_US + 1, False)],
)
def test_a_temperature_serves_for_half_a_day(age_us: int, is_compensated: bool) -> None:
    derivations = reef()
    derivations.take(TEMPERATURE, NOW, 20.0)
    found = derivations.take(PH, NOW + age_us, TO_PH(-72.0))
    assert (found == pytest.approx(8.1747, abs=5e-5)) is is_compensated


def test_redelivered_ph_is_the_same_although_newer_temperatures_are_known() -> None:
    derivations = reef()
    derivations.take(TEMPERATURE, NOW, 20.0)
    first = derivations.take(PH, NOW + SECOND, TO_PH(-72.0))
    derivations.take(TEMPERATURE, NOW + SECOND, 27.0)
    derivations.take(TEMPERATURE, NOW + 2 * SECOND, 27.0)
    assert derivations.take(PH, NOW + SECOND, TO_PH(-72.0)) == first


@given(st.floats(allow_nan=True), st.sampled_from([POWER, TEMPERATURE, CONDUCTIVITY]))
def test_values_of_other_series_are_left_alone(value: float, index: int) -> None:
    derivations = reef()
    found = derivations.take(index, NOW, value)
    assert found == value or (math.isnan(found) and math.isnan(value))


# -- laws ------------------------------------------------------------------------------------------

STREAMS = st.lists(
    st.tuples(
        st.sampled_from([TEMPERATURE, CONDUCTIVITY]),
        st.integers(0, 5000).map(lambda step: NOW + step * SECOND),
        st.floats(-5.0, 60.0) | st.just(math.nan),
    ),
    max_size=60,
)


@given(STREAMS)
def test_times_of_a_derived_series_only_grow_and_values_are_finite(
    stream: list[tuple[int, int, float]],
) -> None:
    found = feed(reef(), *stream)
    times = [one.observed_us or 0 for one in found]
    assert all(one < other for one, other in pairwise(times))
    assert all(math.isfinite(one.value) for one in found)
    assert set(times) <= {observed_us for _, observed_us, _ in stream}


@given(STREAMS)
def test_history_finds_what_a_search_through_all_finds(stream: list[tuple[int, int, float]]) -> None:
    history, first = History(), {}
    for _, observed_us, value in stream:
        history.add(observed_us, value)
        first.setdefault(observed_us, value)
    at_us = NOW + 2500 * SECOND
    oldest_us, newest_us = at_us - OTHER_INPUT_US, at_us + OTHER_INPUT_US
    before = [one for one in first if oldest_us <= one <= at_us]
    after = [one for one in first if at_us < one <= newest_us]
    expected = max(before) if before else min(after, default=None)
    found = history.near(at_us, oldest_us, newest_us)
    assert (found is None) == (expected is None)
    if found is not None and expected is not None:
        assert found[0] == expected
        assert found[1] == first[expected] or math.isnan(first[expected])


def test_memory_stays_bounded_on_a_long_stream() -> None:
    history = History()
    for step in range(5 * REMEMBERED):
        history.add(step, float(step))
        assert len(history) <= 2 * REMEMBERED
    newest = 5 * REMEMBERED - 1
    assert history.near(newest, 0, newest) == (newest, float(newest))
    assert history.near(newest - REMEMBERED + 1, 0, 0) is not None
    assert history.near(10, 0, 0) is None


# -- what cannot be derived ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (series("x", "practical_salinity", derived_from="power", temperature_from="t"), "from the power"),
        (series("x", "practical_salinity", derived_from="c"), "temperature_from is missing"),
        (series("x", "practical_salinity", derived_from="c", temperature_from="c"), "is a conductivity"),
        (series("x", "practical_salinity", derived_from="y", temperature_from="t"), "names y"),
        (series("x", "volume", derived_from="c", temperature_from="t"), "a volume cannot be derived"),
        (series("x", "ph", temperature_from="t"), "calibration"),
        (series("x", "practical_salinity", temperature_from="t"), "needs derived_from"),
    ],
)
def test_what_cannot_be_computed_is_a_mistake_in_the_configuration(
    wrong: SeriesConfiguration, says: str
) -> None:
    with pytest.raises(ConfigError, match=says) as raised:
        Derivations(
            tank(series("t", "temperature"), series("c", "conductivity"), series("power", "power"), wrong)
        )
    assert "reef/x" in str(raised.value)
