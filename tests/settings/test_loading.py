"""One file and the environment become a configuration, or every mistake is told at once."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from collector.errors import ConfigError
from collector.settings import load_configuration
from rules import (
    HOUR_US,
    TESTS,
    AttenuatedSignalLimits,
    ClimatologyLimits,
    CompanionLimits,
    Priority,
    RateOfChangeLimits,
    Season,
    SeriesRules,
    SpikeLimits,
)
from tests.settings.configurations import SMALL, Load, changed

TEMPERATURE = "tanks.reef.series.temperature"
PH = "tanks.reef.series.ph"


def test_example_is_loaded_where_no_file_is_given() -> None:
    configuration = load_configuration(None, {})
    assert [(one.tank, one.name, one.quantity) for one in configuration.series] == [
        ("reef", "temperature", "temperature"),
        ("reef", "ph", "ph"),
        ("reef", "practical_salinity", "practical_salinity"),
        ("reef", "reservoir", "volume"),
    ]
    assert configuration.tank("reef").rules.volume_litres == 400


def test_series_and_their_rules_have_the_same_places(load: Load) -> None:
    configuration = load(SMALL).configuration
    assert [(one.tank, one.name, one.quantity) for one in configuration.series] == [
        (one.tank, one.name, one.quantity) for one in configuration.engine.series
    ]


def test_relative_folder_is_taken_from_the_folder_of_the_file(load: Load, tmp_path: Path) -> None:
    assert load(SMALL).configuration.store.path == tmp_path / "brinebell-data" / "brinebell.sqlite"


def test_text_of_the_file_is_kept(load: Load, tmp_path: Path) -> None:
    assert load(SMALL).configuration.text == (tmp_path / "brinebell.toml").read_text()


def test_limits_become_alarms_with_the_defaults_of_the_quantity(load: Load) -> None:
    own = {"quantity": "temperature", "alarm_low": "24 degC", "danger_high": "30 degC"}
    configuration = load(changed(SMALL, TEMPERATURE, own)).configuration
    low, danger = configuration.engine.series[0].limit_alarms
    assert (low.setpoint, low.is_high, low.is_danger, low.priority) == (24, False, False, Priority.HIGH)
    assert (danger.setpoint, danger.is_high, danger.is_danger) == (30, True, True)
    assert danger.priority is Priority.URGENT
    assert low.deadband == pytest.approx(0.15)
    assert (low.on_delay_us, low.off_delay_us) == (HOUR_US // 6, HOUR_US // 4)


def test_a_danger_line_waits_less_long_and_both_as_long_as_the_keeper_says(load: Load) -> None:
    own = {"quantity": "ph", "alarm_low": "7.7 pH", "danger_low": "7.4 pH"}
    for on_delay, minutes in (({}, [15, 30]), ({"on_delay": "5 min"}, [5, 5])):
        alarms = load(changed(SMALL, PH, own | on_delay)).configuration.engine.series[1].limit_alarms
        assert [alarm.on_delay_us / HOUR_US * 60 for alarm in alarms] == minutes


def test_deadband_in_another_unit_is_a_difference(load: Load) -> None:
    own = {"quantity": "temperature", "alarm_low": "75.2 degF", "deadband": "0.5 degF"}
    (alarm,) = load(changed(SMALL, TEMPERATURE, own)).configuration.engine.series[0].limit_alarms
    # 0.5 degF is 0.278 degC as a difference; 75.2 degF is 24 degC.
    assert alarm.setpoint == pytest.approx(24.0)
    assert alarm.deadband == pytest.approx(0.5 / 1.8)


@pytest.mark.parametrize(
    ("text", "per_hour"),
    [("30 degC/h", 30.0), ("0.5 degC/min", 30.0), ("54 degF/h", 30.0), ("30 K/h", 30.0)],
)
def test_rates_are_differences_per_hour(load: Load, text: str, per_hour: float) -> None:
    own = {"quantity": "temperature", "rate_of_change": text}
    limits = load(changed(SMALL, TEMPERATURE, own)).configuration.engine.series[0].rate_of_change
    assert limits is not None
    assert limits.suspect_per_hour == pytest.approx(per_hour)


def quality(load: Load, own: dict[str, Any]) -> SeriesRules:
    data = changed(SMALL, "tanks.reef.time_zone", "Africa/Nairobi")
    data = changed(data, TEMPERATURE, {"quantity": "temperature", **own})
    data = changed(data, "tanks.reef.series.temperature_2", {"quantity": "temperature"})
    return load(data).configuration.engine.series[0]


def test_a_series_has_the_quality_tests_that_it_asks_for_and_no_other(load: Load) -> None:
    rules = quality(load, {})
    assert all(getattr(rules, test) is None for test in TESTS)


def test_a_rate_by_spread_never_judges_less_than_the_deadband(load: Load) -> None:
    """So that a coarse probe in still water is not suspect."""
    assert quality(load, {"rate_of_change_spread": {}}).rate_of_change == RateOfChangeLimits(
        None, 3.0, 25 * HOUR_US, 0.15
    )
    own = {"rate_of_change_spread": {"deviations": 4, "window": "12 h"}, "deadband": "0.3 degC"}
    limits = quality(load, own | {"rate_of_change": "30 degC/h"}).rate_of_change
    assert limits == RateOfChangeLimits(30.0, 4.0, 12 * HOUR_US, 0.3)
    own = {"rate_of_change_spread": {"least_change": "0.9 degF"}}
    assert quality(load, own).rate_of_change.least_change == pytest.approx(0.5)


def test_climatology_is_by_the_clock_of_the_tank(load: Load) -> None:
    assert quality(load, {"climatology": {}}).climatology == ClimatologyLimits(2.0, (), "Africa/Nairobi")
    months = {"6": ["24 degC", "28 degC"], "12-2": ["23 degC", "26 degC"]}
    limits = quality(load, {"climatology": {"widths": 1.5, "months": months}}).climatology
    seasons = (Season("month", 6, 6, 24.0, 28.0), Season("month", 12, 2, 23.0, 26.0))
    assert limits == ClimatologyLimits(1.5, seasons, "Africa/Nairobi")


def test_attenuated_signal_looks_at_half_a_day(load: Load) -> None:
    own = {"suspect_below": "0.1 degC"}
    limits = quality(load, {"attenuated_signal": own}).attenuated_signal
    assert limits == AttenuatedSignalLimits(12 * HOUR_US, 0.1, None, "range", 10)
    own |= {"fail_below": "0.036 degF", "method": "deviation", "window": "6 h", "fewest": 3}
    limits = quality(load, {"attenuated_signal": own}).attenuated_signal
    assert limits is not None
    assert limits.fail_below == pytest.approx(0.02)
    assert (limits.method, limits.window_us, limits.fewest) == ("deviation", 6 * HOUR_US, 3)


def test_companions_are_series_of_the_tank(load: Load) -> None:
    own = {"neighbor": {"companion": "temperature_2"}, "multivariate": {"companion": "ph", "deviations": 3}}
    rules = quality(load, own)
    assert rules.neighbor == CompanionLimits("temperature_2", 2.0, 2.0, 25 * HOUR_US, 0.15)
    assert rules.multivariate == CompanionLimits("ph", 3.0, 2.0, 25 * HOUR_US, 0.15)


def test_a_spike_can_be_a_differential(load: Load) -> None:
    own = {"spike": {"suspect": "0.5 degC", "method": "differential"}}
    assert quality(load, own).spike == SpikeLimits(0.5, None, "differential")


@pytest.mark.parametrize(
    ("own", "is_high"),
    [
        ({"alarm_state": "closed"}, True),
        ({"alarm_state": "open"}, False),
        ({"alarm_state": "wet", "words": {"wet": True, "dry": False}}, True),
    ],
)
def test_alarm_state_is_an_alarm_half_way_between_both(
    load: Load, own: dict[str, Any], is_high: bool
) -> None:
    data = changed(SMALL, "tanks.reef.series.leak", {"quantity": "contact", **own})
    configuration = load(data).configuration
    (alarm,) = configuration.engine.series[configuration.series_index("reef", "leak")].limit_alarms
    assert (alarm.setpoint, alarm.deadband, alarm.on_delay_us, alarm.is_high) == (0.5, 0, 0, is_high)


def test_fault_parameters_are_in_canonical_units(load: Load) -> None:
    own = {"margin": "0.9 degF", "least_rate": "0.1 degC/h", "on_delay": "20 min"}
    data = changed(SMALL, "tanks.reef.faults.heater_failed_off", own)
    faults = load(data).configuration.tank("reef").rules.faults["heater_failed_off"]
    assert faults == pytest.approx({"margin": 0.5, "least_rate": 0.1, "on_delay": HOUR_US / 3})


def test_all_mistakes_are_told_together(load: Load) -> None:
    data = changed(SMALL, "mqtt.port", "x")
    data = changed(data, "tanks.reef.volume", "400 degC")
    data = changed(data, f"{TEMPERATURE}.deadbnd", "1 degC")
    data = changed(data, "sources.0.topic", "boards/#/x")
    with pytest.raises(ConfigError) as told:
        load(data)
    text = str(told.value)
    assert text.startswith("4 mistakes in ")
    for key in ("mqtt.port", "tanks.reef.volume", f"{TEMPERATURE}.deadbnd", "sources[0].topic"):
        assert f"\n  {key}" in text


def test_reference_to_a_faulty_series_is_no_further_mistake(load: Load) -> None:
    with pytest.raises(
        ConfigError, match=r"^one mistake in .*\n  tanks\.reef\.series\.temperature\.quantity"
    ):
        load(changed(SMALL, f"{TEMPERATURE}.quantity", "temprature"))


def test_file_that_is_not_there_is_told_with_the_way_to_one(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="brinebell check --example > "):
        load_configuration(tmp_path / "none.toml", {})


def test_file_that_is_no_toml_is_told_with_its_line(load: Load) -> None:
    with pytest.raises(ConfigError, match="line 2"):
        load('[mqtt]\nhost = "unfinished\n')


def test_file_that_is_no_text_is_told(tmp_path: Path) -> None:
    (tmp_path / "b.toml").write_bytes(b"host = '\xff'")
    with pytest.raises(ConfigError, match="not UTF-8"):
        load_configuration(tmp_path / "b.toml", {})


def test_folder_in_place_of_the_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="cannot be read"):
        load_configuration(tmp_path, {})


# An open bracket is only seen to be open at the next key.
@pytest.mark.parametrize(
    ("line", "at"), [("title = pH", 2), ('title = "pH', 2), ("title", 2), ("title = [1", 3)]
)
def test_text_that_is_no_toml_is_told_with_its_place_and_what_to_look_for(
    load: Load, line: str, at: int
) -> None:
    with pytest.raises(ConfigError, match=f"is not TOML: .*line {at}") as told:
        load(f"[mqtt]\n{line}\nport = 1\n")
    assert "a quote, bracket or = is missing there" in str(told.value)
