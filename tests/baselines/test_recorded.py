"""What a night gave is recorded, stands, and comes back as it was."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from collector.baselines import record, recorded_baselines, standing
from collector.baselines.recorded import as_data, from_data
from collector.store import Store, StoreReader
from rules import HOUR_US, Learning, PoorFit, WeekProfile, fit_baseline
from tests.wording.example import configuration

DAY_US = 24 * HOUR_US
NIGHT_US = 20_000 * DAY_US
CONFIGURATION = configuration()


def profile() -> WeekProfile:
    times_us = np.arange(NIGHT_US - 14 * DAY_US, NIGHT_US, HOUR_US // 4)
    values = 25.0 + 0.3 * np.sin(times_us / DAY_US * 2 * np.pi)
    fitted = fit_baseline(times_us, values, "Europe/Madrid", "temperature")
    assert isinstance(fitted, WeekProfile)
    return fitted


OUTCOMES = [profile(), Learning(3), PoorFit("coverage", 0.81, 0.4)]


@pytest.mark.parametrize("fitted", OUTCOMES, ids=lambda one: type(one).__name__)
def test_an_outcome_survives_the_store(fitted, tmp_path: Path) -> None:
    path = tmp_path / "brinebell.sqlite"
    with Store(path, synchronous="OFF") as store, StoreReader(path) as reader:
        ids = store.register(CONFIGURATION.series)
        record(store, [(1, fitted)], fitted_us=NIGHT_US, applies_from_us=NIGHT_US + 5)
        assert standing(reader, ids, NIGHT_US + 5) == {1: (fitted, NIGHT_US)}
        versions, fitted_us = recorded_baselines(reader, ids, NIGHT_US)
    assert fitted_us == NIGHT_US
    assert [(one.applies_from_us, one.series) for one in versions] == [(NIGHT_US + 5, 1)]


def test_a_series_that_fits_poorly_or_learns_again_is_judged_without_a_baseline(tmp_path: Path) -> None:
    path = tmp_path / "brinebell.sqlite"
    with Store(path, synchronous="OFF") as store, StoreReader(path) as reader:
        ids = store.register(CONFIGURATION.series)
        for night, fitted in enumerate(OUTCOMES):
            at_us = NIGHT_US + night * DAY_US
            found = record(store, [(0, fitted)], fitted_us=at_us, applies_from_us=at_us)
            assert (found[0] is None) is not isinstance(fitted, WeekProfile)
        versions, _ = recorded_baselines(reader, ids, NIGHT_US)
    assert [one.baseline is None for one in versions] == [False, True, True]


def test_what_an_older_brinebell_recorded_under_another_name_is_passed_over(tmp_path: Path) -> None:
    path = tmp_path / "brinebell.sqlite"
    with Store(path, synchronous="OFF") as store, StoreReader(path) as reader:
        ids = store.register(CONFIGURATION.series)
        old = {"time_zone": "UTC", "low": [24.0] * 96, "high": [26.0] * 96}
        store.record_baseline(0, "day_profile", old, fitted_us=1, applies_from_us=1)
        assert recorded_baselines(reader, ids, NIGHT_US) == ([], None)
        assert standing(reader, ids, NIGHT_US) == {}
    assert from_data("day_profile", old) is None


def test_numbers_of_another_shape_are_refused() -> None:
    form, data = as_data(OUTCOMES[0])
    with pytest.raises(ValueError, match="1 or 7 rows of 96"):
        from_data(form, data | {"half_width": [0.2] * 95})
