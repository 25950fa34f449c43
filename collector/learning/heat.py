"""What the model of a tank's heat is fitted to: its water, room and equipment, as the store has them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from collector.learning.fitting import Recorded, excluded_spans, quarter_hours
from collector.learning.recorded import FittedHeat
from collector.store import SLOT_US
from rules import FloatArray, fit_heat_model


class TankTask(NamedTuple):
    """A tank whose heat is to be fitted: ids in the store of what tells of it, None for what is not there.

    `heater` and `chiller` are their power, or whether they work.
    """

    tank: str
    time_zone: str
    temperature: int
    room: int | None
    heater: int | None
    chiller: int | None


def fit_heat(reader: Recorded, task: TankTask, now_us: int) -> FittedHeat:
    """Fit how a tank takes and loses heat, as of an instant; see `rules.fit_heat_model`."""
    water = quarter_hours(reader, task.temperature, now_us)
    temperature = water.mean.copy()
    for from_us, to_us in excluded_spans(reader, task.tank, "temperature", now_us):
        temperature[(water.starts_us + SLOT_US > from_us) & (water.starts_us < to_us)] = np.nan

    def means(series: int | None) -> FloatArray | None:
        found = None if series is None else quarter_hours(reader, series, now_us).mean
        # A probe of which nothing was heard in weeks takes nothing from what the others tell.
        return None if found is None or not np.isfinite(found).any() else found

    return fit_heat_model(
        water.starts_us,
        temperature,
        task.time_zone,
        room=means(task.room),
        heater=means(task.heater),
        chiller=means(task.chiller),
    )
