"""Two weeks of simulated history in a real store: quiet, complete, and enough for a baseline."""

from __future__ import annotations

from importlib.resources import as_file, files
from pathlib import Path

import numpy as np
import pytest

from collector.configuration import Configuration
from collector.demo.history import put_history
from collector.learning import fit, record, recorded_versions, tasks_of
from collector.settings import load_configuration
from collector.simulation import HeaterFailedOff, SimulatedTank, TankSettings
from collector.store import Store, StoreReader
from rules import HOUR_US, MICROSECONDS

DAY_US = 24 * HOUR_US
MINUTE_US = HOUR_US // 60
# Midnight of 21 March 2026 UTC.
END_US = 1_774_051_200 * MICROSECONDS


@pytest.fixture(scope="module")
def configuration() -> Configuration:
    with as_file(files("collector") / "data" / "demo.toml") as path:
        return load_configuration(path, {})


def _tank(days: int, *faults: HeaterFailedOff) -> SimulatedTank:
    tank = SimulatedTank(TankSettings(), seed=1, start_us=END_US - (days + 1) * DAY_US, faults=faults)
    tank.advance_to(END_US - days * DAY_US)
    return tank


def test_every_series_has_every_minute_and_nothing_rang(configuration: Configuration, tmp_path: Path) -> None:
    stored = []
    with Store(tmp_path / "brinebell.sqlite") as store:
        put_history(
            store,
            configuration,
            _tank(14),
            "reef",
            to_us=END_US,
            every_us=MINUTE_US,
            progress=stored.append,
        )
    assert stored == [DAY_US] * 14
    with StoreReader(tmp_path / "brinebell.sqlite") as reader:
        assert reader.incidents() == ()
        assert reader.last_engine_us == END_US
        for series in configuration.series:
            readings = reader.readings(reader.series_id("reef", series.name), END_US - 20 * DAY_US, END_US)
            assert readings.times_us.tolist() == list(range(END_US - 14 * DAY_US, END_US, MINUTE_US))
            # Judged one by one: none failed, and hardly one is suspect.
            assert np.count_nonzero(readings.flags == 4) == 0, series.name
            assert np.count_nonzero(readings.flags == 3) < 20, series.name


def test_a_baseline_is_fitted_and_holds_the_setpoint(configuration: Configuration, tmp_path: Path) -> None:
    path = tmp_path / "brinebell.sqlite"
    with Store(path) as store:
        put_history(store, configuration, _tank(14), "reef", to_us=END_US, every_us=5 * MINUTE_US)
        with StoreReader(path) as reader:
            ids = [reader.series_id(one.tank, one.name) for one in configuration.series]
            fits = [(task.series, fit(reader, task, END_US)) for task in tasks_of(configuration, ids).series]
            record(store, fits, fitted_us=END_US, applies_from_us=END_US)
            versions = recorded_versions(reader, ids, END_US)
    baselines = {version.series: version.baseline for version in versions}
    low, high = baselines[configuration.series_index("reef", "temperature")].expect(
        np.arange(END_US, END_US + DAY_US, HOUR_US)
    )
    assert np.all((low > 24.9) & (low < 25.5))
    assert np.all((high > 25.5) & (high < 26.1))


def test_a_history_in_which_something_rings_is_refused(configuration: Configuration, tmp_path: Path) -> None:
    failed = HeaterFailedOff(END_US - DAY_US)
    with (
        Store(tmp_path / "brinebell.sqlite") as store,
        pytest.raises(RuntimeError, match="the simulated history is not quiet"),
    ):
        put_history(store, configuration, _tank(3, failed), "reef", to_us=END_US, every_us=MINUTE_US)
