"""The heat of a tank is fitted to what the store has of it, without what was wrong or planned."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pytest

from collector.configuration import (
    Configuration,
    MqttConfiguration,
    PageConfiguration,
    SeriesConfiguration,
    StoreConfiguration,
    TankConfiguration,
)
from collector.learning import Fits, FittedHeat, fit_heat, fit_in_worker, tasks_of
from collector.store import Commit, Store, StoreReader
from rules import (
    HOUR_US,
    EngineRules,
    Flag,
    HeatModel,
    NotFitted,
    PlannedWork,
    SeriesRules,
    TankRules,
)
from tests.rules.faults.plain_tank import START_US, Plain
from tests.rules.test_heat_model import lamps, room

DAYS = 10
NOW_US = START_US + DAYS * 24 * HOUR_US
QUANTITIES = {
    "temperature": "temperature",
    "room_temperature": "temperature",
    "heater_power": "power",
    "chiller_power": "power",
}


def configuration(path: Path, series: tuple[str, ...], **roles: str) -> Configuration:
    """A tank of 400 L with these series, of the quantities of their names."""
    tank = TankRules("reef", "UTC", 400.0, frozenset({"heater"}), roles=roles)
    quantities = [QUANTITIES.get(name, "temperature") for name in series]
    return Configuration(
        tanks=(TankConfiguration("reef", "Reef", tank),),
        series=tuple(SeriesConfiguration("reef", *one) for one in zip(series, quantities, strict=True)),
        sources=(),
        boards=(),
        people=(),
        mqtt=MqttConfiguration(),
        store=StoreConfiguration(path),
        page=PageConfiguration(),
        engine=EngineRules(
            (tank,), tuple(SeriesRules("reef", *one) for one in zip(series, quantities, strict=True))
        ),
        text="",
    )


@pytest.fixture(scope="module")
def shown() -> tuple[np.ndarray, Mapping[str, np.ndarray]]:
    """What the probes of a tank of 400 L showed: tau is 22.7 h, and 400 W move it by 0.88 degC/h."""
    return Plain(room=room, lamps=lamps, hours=DAYS * 24.0).live()


def stored(
    folder: Path,
    shown: tuple[np.ndarray, Mapping[str, np.ndarray]],
    series: tuple[str, ...],
    works: tuple[PlannedWork, ...] = (),
    **roles: str,
) -> tuple[Configuration, list[int]]:
    """These series in a store."""
    found = configuration(folder, series, **roles)
    times, columns = shown
    with Store(found.store.path, synchronous="OFF") as store:
        ids = store.register(found.series)
        for index, name in enumerate(series):
            rows = [
                (index, time_us, value, int(Flag.PASS if value > -50.0 else Flag.FAIL), 0, 0, 0, b"")
                for time_us, value in zip(times.tolist(), columns[name].tolist(), strict=True)
            ]
            store.commit(Commit(NOW_US, NOW_US, rows=rows, planned_work=works))
    return found, list(ids)


def fitted(found: Configuration, ids: list[int]) -> FittedHeat:
    (task,) = tasks_of(found, ids).tanks
    with StoreReader(found.store.path) as reader:
        return fit_heat(reader, task, NOW_US)


@pytest.mark.parametrize(
    ("series", "knows"),
    [
        (("temperature", "room_temperature", "heater_power"), {"tau", "heater"}),
        (("temperature", "heater_power"), {"heater"}),
        (("temperature", "room_temperature"), set()),
        (("temperature",), set()),
    ],
    ids=["room and power", "power", "room", "alone"],
)
def test_what_is_measured_decides_what_is_known(series, knows, shown, tmp_path: Path) -> None:
    model = fitted(*stored(tmp_path, shown, series))
    assert isinstance(model, HeatModel)
    assert {
        name
        for name, value in (("tau", model.time_constant_hours), ("heater", model.heater_per_hour))
        if value is not None
    } == knows
    if "tau" in knows:
        assert model.time_constant_hours == pytest.approx(22.735, rel=0.15)
        assert model.heater_per_hour == pytest.approx(0.8797, rel=0.1)
        assert model.heater_watts == pytest.approx(400.0, rel=0.01)


def test_series_are_found_by_their_roles(shown, tmp_path: Path) -> None:
    times, columns = shown
    named = {
        "water": columns["temperature"],
        "study": columns["room_temperature"],
        "heater_power": columns["heater_power"],
    }
    model = fitted(
        *stored(tmp_path, (times, named), tuple(named), temperature="water", room_temperature="study")
    )
    assert isinstance(model, HeatModel)
    assert model.time_constant_hours == pytest.approx(22.735, rel=0.15)


def test_a_tank_whose_water_is_not_measured_has_nothing_to_fit(tmp_path: Path) -> None:
    found = configuration(tmp_path, ("room_temperature", "heater_power"))
    assert tasks_of(found, (1, 2)).tanks == ()


def test_a_room_probe_that_never_spoke_takes_nothing_from_the_heater(shown, tmp_path: Path) -> None:
    times, columns = shown
    deaf = {**columns, "room_temperature": np.full(len(times), -100.0)}
    model = fitted(*stored(tmp_path, (times, deaf), ("temperature", "room_temperature", "heater_power")))
    assert isinstance(model, HeatModel)
    assert model.heater_per_hour == pytest.approx(0.8797, rel=0.15)


def test_planned_work_on_the_water_is_no_part_of_it(shown, tmp_path: Path) -> None:
    """Five of ten days under planned work: what is left is too short, and that is said."""
    works = tuple(
        PlannedWork("reef", "water_change", NOW_US - day * 24 * HOUR_US, NOW_US - (day - 1) * 24 * HOUR_US)
        for day in range(1, 7)
    )
    found = fitted(*stored(tmp_path, shown, ("temperature", "heater_power"), works))
    assert isinstance(found, NotFitted)
    assert found.reason.endswith("days of history, 5 are needed")


def test_readings_that_failed_are_no_part_of_it(shown, tmp_path: Path) -> None:
    times, columns = shown
    odd = columns["temperature"].copy()
    odd[::7] = -100.0
    series = ("temperature", "room_temperature", "heater_power")
    model = fitted(*stored(tmp_path, (times, {**columns, "temperature": odd}), series))
    assert isinstance(model, HeatModel)
    assert model.time_constant_hours == pytest.approx(22.735, rel=0.2)


def test_the_process_answers_what_the_fit_gives_here(shown, tmp_path: Path) -> None:
    found, ids = stored(tmp_path, shown, ("temperature", "room_temperature", "heater_power"))
    outcome = fit_in_worker(found.store.path, tasks_of(found, ids), NOW_US)
    assert isinstance(outcome, Fits)
    assert outcome.models == {"reef": fitted(found, ids)}
    assert outcome.model_errors == {}
