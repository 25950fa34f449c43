"""What is usual is learnt without what was wrong and without the keeper's own work."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from collector.baselines import DAY_US, record_baselines
from collector.store import Commit, Store, StoreReader
from rules import Flag, PlannedWork
from tests.wording.example import HOUR, configuration

NOW_US = 20_000 * DAY_US
QUARTER_US = HOUR // 4
CONFIGURATION = configuration()
TEMPERATURE, POWER = (CONFIGURATION.series_index("tank0", name) for name in ("temperature", "power"))


def usual_at(folder: Path, works: list[PlannedWork]) -> dict[int, tuple[float, float]]:
    """The usual band at 10:00 UTC after ten days in whose mornings water is changed for cooler."""
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
            found = record_baselines(store, reader, CONFIGURATION, ids, NOW_US)
    at_us = NOW_US + 10 * HOUR
    return {index: (band.low, band.high) for index, one in found.items() for band in [one.band_at(at_us)]}


def mornings(kind: str, days: int) -> list[PlannedWork]:
    """Work from 9 to 10 on the last days; with an hour to settle it is over at 11."""
    starts = [NOW_US - day * DAY_US + 9 * HOUR for day in range(1, days + 1)]
    return [PlannedWork("tank0", kind, start, start + HOUR) for start in starts]


def test_work_that_moves_a_series_is_no_part_of_what_is_usual(tmp_path: Path) -> None:
    # Announced on every day: what is usual then is that of the hours beside.
    low, high = usual_at(tmp_path, mornings("water_change", 10))[TEMPERATURE]
    assert (low + high) / 2 == pytest.approx(25.0)


def test_work_that_nobody_announced_is_learnt_from(tmp_path: Path) -> None:
    low, high = usual_at(tmp_path, mornings("water_change", 8))[TEMPERATURE]
    assert (low + high) / 2 == pytest.approx(23.0)


def test_work_that_does_not_move_a_series_is_learnt_from(tmp_path: Path) -> None:
    low, high = usual_at(tmp_path, mornings("dosing_pause", 10))[TEMPERATURE]
    assert (low + high) / 2 == pytest.approx(23.0)
