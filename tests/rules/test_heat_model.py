"""The model of a tank's heat: does it find what the tank was made of, and does it say when it cannot?"""

from __future__ import annotations

import json

import numpy as np
import pytest

from rules import HOUR_US, HeatModel, NotFitted, fit_heat_model
from rules.physics.heat import usual_time_constant_hours
from tests.rules.faults.plain_tank import Plain, listen

QUARTER_US = HOUR_US // 4


def room(hour: float) -> float:
    """A room with a day, and days that differ."""
    return 21.0 + 1.5 * float(np.sin(hour / 12.0 * np.pi)) + 1.5 * float(np.sin(hour / 53.0))


def lamps(hour: float) -> float:
    return 0.2 if 9.0 <= hour % 24.0 < 20.0 else 0.0


def quarters(tank: Plain) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Means of quarter hours."""
    times, columns = tank.live()
    count = len(times) // 3
    means = {name: column[: 3 * count].reshape(count, 3).mean(axis=1) for name, column in columns.items()}
    return times[: 3 * count : 3] // QUARTER_US * QUARTER_US, means


def fitted(tank: Plain, *series: str) -> HeatModel:
    times, means = quarters(tank)
    names = {"room": "room_temperature", "heater": "heater_power", "chiller": "chiller_power"}
    model = fit_heat_model(
        times, means["temperature"], "UTC", **{name: means[names[name]] for name in series}
    )
    assert isinstance(model, HeatModel)
    return model


# Computed values: tau 13.3, 22.7 and 35.3 h; 100 W move 400 L by 0.21993 K/h, so 1 W/L moves any tank by
# 0.880 K/h.
@pytest.mark.parametrize(("volume", "tau"), [(80.0, 13.3), (400.0, 22.7), (1500.0, 35.3)])
def test_time_constant_and_heater_are_found_from_a_fortnight(volume, tau):
    tank = Plain(volume, room=room, lamps=lamps, hours=14 * 24.0)
    model = fitted(tank, "room", "heater")
    assert model.time_constant_hours == pytest.approx(tau, rel=0.15)
    assert abs(model.time_constant_hours - tau) < 4.0 * model.time_constant_error + 0.05 * tau
    assert model.heater_per_hour == pytest.approx(0.8797, rel=0.06)
    assert model.heater_watts == pytest.approx(volume, rel=0.01)
    assert model.chiller_per_hour is None
    assert model.days == pytest.approx(14.0, abs=0.2)


def test_the_chiller_is_found_from_a_fortnight():
    """Twice 0.30 W/L: 0.528 K/h."""
    tank = Plain(is_chilled=True, room=lambda hour: room(hour) + 9.0, lamps=lamps, hours=14 * 24.0)
    model = fitted(tank, "room", "chiller")
    assert model.chiller_per_hour == pytest.approx(-0.528, rel=0.06)
    assert model.time_constant_hours == pytest.approx(22.7, rel=0.2)


def test_where_the_water_would_end_without_a_heater():
    """400 L in a room of 21 degC with 60 W of equipment less 112 W of evaporation: 18.4 degC, computed."""
    model = fitted(Plain(room=room, hours=28 * 24.0), "room", "heater")
    assert model.room == pytest.approx(21.0, abs=0.2)
    assert model.end_temperature == pytest.approx(18.4, abs=1.0)


def test_lamps_are_found_at_their_hours():
    model = fitted(Plain(room=room, lamps=lamps, hours=21 * 24.0), "room", "heater")
    day, night = model.day[14], model.day[2]
    # 0.2 W/L are 0.176 K/h.
    assert day - night == pytest.approx(0.176, abs=0.05)
    assert sum(model.day) == pytest.approx(0.0, abs=1e-9)


def test_without_a_room_there_is_no_time_constant_but_a_heater():
    model = fitted(Plain(room=room, hours=14 * 24.0), "heater")
    assert model.time_constant_hours is None
    assert model.end_temperature is None
    assert model.heater_per_hour == pytest.approx(0.8797, rel=0.1)


def test_a_room_that_never_changes_tells_no_time_constant():
    tank = Plain(hours=14 * 24.0)
    times, means = quarters(tank)
    wandering = means["room_temperature"] + 0.01 * np.random.RandomState(3).standard_normal(len(times))
    model = fit_heat_model(times, means["temperature"], "UTC", room=wandering)
    assert isinstance(model, HeatModel)
    assert model.time_constant_hours is None


def test_a_heater_that_never_works_is_not_known():
    tank = Plain(room=room, hours=14 * 24.0)
    times, means = quarters(tank)
    model = fit_heat_model(times, means["temperature"], "UTC", heater=np.zeros(len(times)))
    assert isinstance(model, HeatModel)
    assert model.heater_per_hour is None
    assert model.heater_watts is None


def test_cleaned_probes_and_holes_change_little():
    """Twelve quarter hours with the probe in air, ten hours without readings, fifteen left out."""
    times, means = quarters(Plain(room=room, hours=14 * 24.0))
    odd = means["temperature"].copy()
    odd[np.random.RandomState(5).choice(len(odd), 12, replace=False)] -= 3.0
    odd[300:340] = np.nan
    keep = np.ones(len(times), bool)
    keep[700:760] = False

    def fit(temperature: np.ndarray, rows: np.ndarray | slice) -> HeatModel:
        found = fit_heat_model(
            times[rows],
            temperature[rows],
            "UTC",
            room=means["room_temperature"][rows],
            heater=means["heater_power"][rows],
        )
        assert isinstance(found, HeatModel)
        return found

    clean, dirty = fit(means["temperature"], slice(None)), fit(odd, keep)
    assert dirty.heater_per_hour == pytest.approx(clean.heater_per_hour, rel=0.05)
    assert dirty.time_constant_hours == pytest.approx(clean.time_constant_hours, rel=0.15)


# Just under, at and just over the days that are needed, of half hours from end to end.
@pytest.mark.parametrize(("days", "is_known"), [(4.9, False), (5.1, True), (6.0, True)])
def test_it_says_how_many_days_it_has_and_needs(days, is_known):
    tank = Plain(room=room, hours=days * 24.0)
    times, means = quarters(tank)
    model = fit_heat_model(times, means["temperature"], "UTC", room=means["room_temperature"])
    assert isinstance(model, HeatModel) is is_known
    if isinstance(model, NotFitted):
        assert model.reason == "4.9 days of history, 5 are needed"


@pytest.mark.parametrize("count", [0, 1, 2])
def test_nothing_is_fitted_to_nothing(count):
    empty = np.arange(count, dtype=np.int64) * QUARTER_US
    assert fit_heat_model(empty, np.zeros(count), "UTC") == NotFitted("no history yet")


def test_series_that_are_never_known_together_are_named():
    tank = Plain(room=room, hours=14 * 24.0)
    times, means = quarters(tank)
    nothing = np.full(len(times), np.nan)
    found = fit_heat_model(times, means["temperature"], "UTC", room=nothing)
    assert found == NotFitted("room or power are known in too few of the same hours")


def test_a_model_is_plain_json_and_comes_back():
    model = fitted(Plain(room=room, lamps=lamps, hours=14 * 24.0), "room", "heater")
    assert HeatModel.of_mapping(json.loads(json.dumps(model.as_mapping()))) == model


# The time constants of the scenario table, computed.
@pytest.mark.parametrize(("volume", "hours"), [(80.0, 13.3), (400.0, 22.735), (1500.0, 35.3)])
def test_the_usual_time_constant_grows_with_the_cube_root_of_the_volume(volume, hours):
    assert usual_time_constant_hours(volume) == pytest.approx(hours, rel=2e-3)


def test_the_engine_projects_by_the_model_it_was_given():
    """A tank that loses heat twice as fast as it is told of reaches its danger line another time."""
    tank = Plain(heats=lambda hour: 0.0 if hour >= 86.0 else 1.0)
    slow = HeatModel(14.0, 0.05, (0.0,) * 24, time_constant_hours=60.0)
    quick = HeatModel(14.0, 0.05, (0.0,) * 24, time_constant_hours=20.0)
    found = [
        listen(tank, model=model).first("heater_failed_off")[1].evidence.danger_at_us
        for model in (slow, quick)
    ]
    assert found[0] < found[1]
