"""What is usual is learnt without what was wrong and without the keeper's own work."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from collector.learning import LEARN_FROM_US, fit, tasks_of
from collector.learning.fitting import DAY_US
from collector.store import Commit, Store, StoreReader
from rules import Flag, LimitAlarm, PlannedWork, PoorFit, Priority, WeekProfile
from tests.wording.example import HOUR, configuration

NOW_US = 20_000 * DAY_US
QUARTER_US = HOUR // 4
CONFIGURATION = configuration()
TEMPERATURE, POWER = (CONFIGURATION.series_index("tank0", name) for name in ("temperature", "power"))


def usual_at(folder: Path, works: list[PlannedWork]) -> dict[int, float]:
    """What is usual at 10:00 UTC after ten days in whose mornings water is changed for cooler."""
    path = folder / "brinebell.sqlite"
    with Store(path, synchronous="OFF") as store:
        ids = store.register(CONFIGURATION.series)
        times_us = np.arange(NOW_US - 10 * DAY_US, NOW_US, QUARTER_US)
        hours = times_us % DAY_US / HOUR
        values = np.where((hours >= 9) & (hours < 11), 23.0, 25.0)
        rows = [
            (index, int(time_us), float(value), int(Flag.PASS), 0, 0, 0, b"")
            for index in (TEMPERATURE, POWER)
            for time_us, value in zip(times_us, values, strict=True)
        ]
        store.commit(Commit(NOW_US, NOW_US, rows=rows, planned_work=works))
        with StoreReader(path) as reader:
            found = {
                task.series: fit(reader, task, NOW_US)
                for task in tasks_of(CONFIGURATION, ids).series
                if task.series in (TEMPERATURE, POWER)
            }
    usual = {}
    for index, fitted in found.items():
        assert isinstance(fitted, WeekProfile)
        usual[index] = fitted.band_at(NOW_US + 10 * HOUR).centre
    return usual


def mornings(kind: str, days: int) -> list[PlannedWork]:
    """Work from 9 to 10 on the last days; with an hour to settle it is over at 11."""
    starts = [NOW_US - day * DAY_US + 9 * HOUR for day in range(1, days + 1)]
    return [PlannedWork("tank0", kind, start, start + HOUR) for start in starts]


def test_work_that_moves_a_series_is_no_part_of_what_is_usual(tmp_path: Path) -> None:
    # Announced on every day: what is usual then is that of the hours beside.
    assert usual_at(tmp_path, mornings("water_change", 10))[TEMPERATURE] == pytest.approx(25.0, abs=0.05)


def test_work_that_nobody_announced_is_learnt_from(tmp_path: Path) -> None:
    assert usual_at(tmp_path, mornings("water_change", 5))[TEMPERATURE] == pytest.approx(23.0, abs=0.2)


def test_work_that_does_not_move_a_series_is_learnt_from(tmp_path: Path) -> None:
    assert usual_at(tmp_path, mornings("dosing_pause", 10))[TEMPERATURE] == pytest.approx(23.0, abs=0.2)


def test_what_is_older_than_four_weeks_is_not_learnt_from(tmp_path: Path) -> None:
    path = tmp_path / "brinebell.sqlite"
    with Store(path, synchronous="OFF") as store:
        ids = store.register(CONFIGURATION.series)
        times_us = np.arange(NOW_US - 40 * DAY_US, NOW_US, QUARTER_US)
        values = np.where(times_us < NOW_US - LEARN_FROM_US, 20.0, 25.0)
        rows = [
            (TEMPERATURE, int(time_us), float(value), int(Flag.PASS), 0, 0, 0, b"")
            for time_us, value in zip(times_us, values, strict=True)
        ]
        store.commit(Commit(NOW_US, NOW_US, rows=rows))
        with StoreReader(path) as reader:
            task = next(one for one in tasks_of(CONFIGURATION, ids).series if one.series == TEMPERATURE)
            fitted = fit(reader, task, NOW_US)
    assert isinstance(fitted, WeekProfile)
    assert fitted.days == 28
    assert fitted.band_at(NOW_US) == pytest.approx((24.8, 25.0, 25.2))


def test_the_nearest_limits_on_both_sides_are_those_of_a_series() -> None:
    def with_limits(*setpoints: tuple[float, bool]) -> tuple[float, float] | None:
        alarms = tuple(
            LimitAlarm(setpoint, is_high, False, 0.1, 0, 0, Priority.HIGH) for setpoint, is_high in setpoints
        )
        series = list(CONFIGURATION.engine.series)
        series[TEMPERATURE] = replace(series[TEMPERATURE], limit_alarms=alarms)
        changed = replace(CONFIGURATION, engine=replace(CONFIGURATION.engine, series=tuple(series)))
        tasks = tasks_of(changed, range(len(series)))
        return next(task.limits for task in tasks.series if task.series == TEMPERATURE)

    assert with_limits((24.0, False), (23.0, False), (27.0, True), (26.5, True)) == (24.0, 26.5)
    assert with_limits((24.0, False)) is None


def test_a_series_of_two_states_has_no_usual_band() -> None:
    quantities = {task.quantity for task in tasks_of(CONFIGURATION, range(len(CONFIGURATION.series))).series}
    assert not quantities & {"contact", "state"}


def test_a_band_as_wide_as_the_limits_is_a_poor_fit(tmp_path: Path) -> None:
    path = tmp_path / "brinebell.sqlite"
    with Store(path, synchronous="OFF") as store:
        ids = store.register(CONFIGURATION.series)
        times_us = np.arange(NOW_US - 14 * DAY_US, NOW_US, QUARTER_US)
        values = 25.0 + np.random.default_rng(3).normal(0.0, 0.5, len(times_us))
        rows = [
            (TEMPERATURE, int(time_us), float(value), int(Flag.PASS), 0, 0, 0, b"")
            for time_us, value in zip(times_us, values, strict=True)
        ]
        store.commit(Commit(NOW_US, NOW_US, rows=rows))
        with StoreReader(path) as reader:
            task = next(one for one in tasks_of(CONFIGURATION, ids).series if one.series == TEMPERATURE)
            narrow = fit(reader, task._replace(limits=(24.0, 26.0)), NOW_US)
            wide = fit(reader, task._replace(limits=(20.0, 30.0)), NOW_US)
    assert isinstance(narrow, PoorFit)
    assert narrow.reason == "width"
    assert isinstance(wide, WeekProfile)
