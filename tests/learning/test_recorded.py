"""What a night gave is recorded, stands, and comes back as it was."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from collector.learning import (
    HeatVersion,
    Version,
    record,
    recorded_versions,
    standing,
    standing_heat,
)
from collector.learning.recorded import Fitted, as_data, from_data
from collector.store import Store, StoreReader
from rules import HOUR_US, HeatModel, Learning, NotFitted, PoorFit, WeekProfile, fit_baseline
from tests.wording.example import configuration

DAY_US = 24 * HOUR_US
NIGHT_US = 20_000 * DAY_US
CONFIGURATION = configuration()


@pytest.fixture(scope="module")
def profile() -> WeekProfile:
    times_us = np.arange(NIGHT_US - 14 * DAY_US, NIGHT_US, HOUR_US // 4)
    values = 25.0 + 0.3 * np.sin(times_us / DAY_US * 2 * np.pi)
    fitted = fit_baseline(times_us, values, "Europe/Madrid", "temperature")
    assert isinstance(fitted, WeekProfile)
    return fitted


@pytest.fixture(scope="module")
def outcomes(profile: WeekProfile) -> list[Fitted]:
    return [profile, Learning(3), PoorFit("coverage", 0.81, 0.4)]


@pytest.mark.parametrize("number", range(3), ids=["WeekProfile", "Learning", "PoorFit"])
def test_an_outcome_survives_the_store(outcomes: list[Fitted], number: int, tmp_path: Path) -> None:
    fitted = outcomes[number]
    path = tmp_path / "brinebell.sqlite"
    with Store(path, synchronous="OFF") as store, StoreReader(path) as reader:
        ids = store.register(CONFIGURATION.series)
        record(store, [(1, fitted)], fitted_us=NIGHT_US, applies_from_us=NIGHT_US + 5)
        assert standing(reader, ids, NIGHT_US + 5) == {1: (fitted, NIGHT_US)}
        versions = recorded_versions(reader, ids, NIGHT_US)
    assert [(one.applies_from_us, one.series) for one in versions] == [(NIGHT_US + 5, 1)]


def test_a_series_that_fits_poorly_or_learns_again_is_judged_without_a_baseline(
    outcomes: list[Fitted], tmp_path: Path
) -> None:
    path = tmp_path / "brinebell.sqlite"
    with Store(path, synchronous="OFF") as store, StoreReader(path) as reader:
        ids = store.register(CONFIGURATION.series)
        for night, fitted in enumerate(outcomes):
            at_us = NIGHT_US + night * DAY_US
            found = record(store, [(0, fitted)], fitted_us=at_us, applies_from_us=at_us)
            assert (found.baselines[0] is None) is not isinstance(fitted, WeekProfile)
        versions = recorded_versions(reader, ids, NIGHT_US)
    assert [one.baseline is None for one in versions] == [False, True, True]


def test_what_an_older_brinebell_recorded_under_another_name_is_passed_over(tmp_path: Path) -> None:
    path = tmp_path / "brinebell.sqlite"
    with Store(path, synchronous="OFF") as store, StoreReader(path) as reader:
        ids = store.register(CONFIGURATION.series)
        old = {"time_zone": "UTC", "low": [24.0] * 96, "high": [26.0] * 96}
        store.record_baseline(0, "day_profile", old, fitted_us=1, applies_from_us=1)
        assert recorded_versions(reader, ids, NIGHT_US) == []
        assert standing(reader, ids, NIGHT_US) == {}
    assert from_data("day_profile", old) is None


def test_numbers_of_another_shape_are_refused(profile: WeekProfile) -> None:
    form, data = as_data(profile)
    with pytest.raises(ValueError, match="1 or 7 rows of 96"):
        from_data(form, data | {"half_width": [0.2] * 95})


@pytest.mark.parametrize(
    "fitted",
    [HeatModel(14.0, 0.02, (0.1,) * 24, 22.7, heater_per_hour=0.88), NotFitted("no history yet")],
    ids=lambda one: type(one).__name__,
)
def test_an_outcome_of_a_tank_survives_the_store(fitted, tmp_path: Path) -> None:
    path = tmp_path / "brinebell.sqlite"
    with Store(path, synchronous="OFF") as store, StoreReader(path) as reader:
        record(store, [], [("reef", fitted)], fitted_us=NIGHT_US, applies_from_us=NIGHT_US + 5)
        assert standing_heat(reader, NIGHT_US + 5) == {"reef": (fitted, NIGHT_US)}
        ((applies_from_us, tank, model),) = recorded_versions(reader, (), NIGHT_US)
    assert (applies_from_us, tank) == (NIGHT_US + 5, "reef")
    assert model == (fitted if isinstance(fitted, HeatModel) else None)


def test_versions_of_series_and_tanks_come_in_the_order_in_which_they_apply(
    profile: WeekProfile, tmp_path: Path
) -> None:
    path = tmp_path / "brinebell.sqlite"
    model = HeatModel(14.0, 0.02, (0.0,) * 24)
    with Store(path, synchronous="OFF") as store, StoreReader(path) as reader:
        ids = store.register(CONFIGURATION.series)
        for at_us in (NIGHT_US, NIGHT_US + DAY_US):
            record(store, [(0, profile)], [("reef", model)], fitted_us=at_us, applies_from_us=at_us)
        found = recorded_versions(reader, ids, NIGHT_US)
    assert [(one.applies_from_us, type(one)) for one in found] == [
        (NIGHT_US, Version),
        (NIGHT_US, HeatVersion),
        (NIGHT_US + DAY_US, Version),
        (NIGHT_US + DAY_US, HeatVersion),
    ]
