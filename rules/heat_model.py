"""A tank's heat, fitted to its own history: how fast it follows the room, what heater and chiller do to it.

dT/dt = a + f(hour) - (T - T_room) / tau + h heater + c chiller

with heater and chiller as shares of their full power. The constant a and the day f (lamps, the pumps, what
evaporates) are what goes on in the tank anyway. An hour of quarter-hour means makes one equation, a robust
regression solves them, and what the history does not show is None: a tank whose room never changes tells no
time constant.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from rules.blocks import FloatArray, IntArray
from rules.local_time import time_of_day_us
from rules.setup import HOUR_US

DAYS_NEEDED = 5
# An hour: over shorter windows the quarter hours at their ends blur when a heater was switched (its effect
# comes out 9 % too great over half an hour, 4 % over an hour), longer ones mix its pauses with its work.
_WINDOW_US = HOUR_US
_HARMONICS = 3
_FEWEST_EQUATIONS = 100
# A coefficient below so many of its standard errors is not known.
_LEAST_SIGNIFICANCE = 4.0
# A bowl of 20 L in a draught, and a pool in a cellar (own choice).
_LEAST_HOURS, _GREATEST_HOURS = 3.0, 150.0
# Equipment that worked in fewer of the windows tells nothing.
_LEAST_WORKING = 0.01


@dataclass(frozen=True, slots=True)
class NotFitted:
    """Why there is no model yet."""

    reason: str


@dataclass(frozen=True, slots=True)
class HeatModel:
    """The heat of one tank; what is not known is None.

    Parameters
    ----------
    days
        Days of history behind it.
    error_per_hour
        Standard deviation of what it leaves unexplained, degC/h.
    day
        What lamps and the room's day do at each hour of the clock on the wall, degC/h, shape (24,), mean 0.
    time_constant_hours
        tau, in which 63 % of the way to the end temperature are gone.
    time_constant_error
        Its standard error, h.
    room, above_room
        Mean temperature of the room, and how far above it the water would end without heater and cooler.
    heater_per_hour, chiller_per_hour
        What heater and cooler do at full power, degC/h: above 0, and below.
    heater_watts, chiller_watts
        Full power, in the unit of their series.
    """

    days: float
    error_per_hour: float
    day: tuple[float, ...]
    time_constant_hours: float | None = None
    time_constant_error: float | None = None
    room: float | None = None
    above_room: float | None = None
    heater_per_hour: float | None = None
    heater_watts: float | None = None
    chiller_per_hour: float | None = None
    chiller_watts: float | None = None

    @property
    def end_temperature(self) -> float | None:
        """Where the water ends in the usual room without heater and cooler, degC."""
        return None if self.room is None or self.above_room is None else self.room + self.above_room

    def as_mapping(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return {**asdict(self), "day": list(self.day)}

    @classmethod
    def of_mapping(cls, mapping: Mapping[str, Any]) -> HeatModel:
        """The model that `as_mapping` gave."""
        return cls(**{**mapping, "day": tuple(mapping["day"])})


def fit_heat_model(
    times_us: IntArray,
    temperature: FloatArray,
    time_zone: str,
    *,
    room: FloatArray | None = None,
    heater: FloatArray | None = None,
    chiller: FloatArray | None = None,
) -> HeatModel | NotFitted:
    """Fit the heat balance to a tank's history.

    Parameters
    ----------
    times_us
        Shape (n,): where quarter hours begin, evenly spaced but for holes, microseconds since 1970 UTC.
    temperature
        Shape (n,): their means in degC, without planned work and failed readings; NaN where not known.
    time_zone
        IANA name; lamps follow the clock on the wall.
    room
        Shape (n,): the same for the room; None where no probe hangs there.
    heater, chiller
        Shape (n,): the same for their power, W, or their state.

    Returns
    -------
    HeatModel or NotFitted
        `NotFitted` while there are less than `DAYS_NEEDED` days.

    References
    ----------
    Huber (1964), robust M-estimation, through `statsmodels`.
    """
    from statsmodels.robust import norms
    from statsmodels.robust.robust_linear_model import RLM

    if len(times_us) < 3:
        return NotFitted("no history yet")
    step_us = int(np.median(np.diff(times_us)))
    width = max(1, _WINDOW_US // step_us)
    starts = _evenly(times_us, temperature, step_us, width)
    days = len(starts) * width * step_us / (24 * HOUR_US)
    if len(starts) < _FEWEST_EQUATIONS or days < DAYS_NEEDED:
        return NotFitted(f"{days:.1f} days of history, {DAYS_NEEDED} are needed")
    hours = width * step_us / HOUR_US
    change = (temperature[starts + width] - temperature[starts]) / hours
    columns: dict[str, FloatArray] = {"constant": np.ones(len(starts))}
    angle = _day_angle(times_us[starts] + (width + 1) * step_us // 2, time_zone)
    for number in range(1, _HARMONICS + 1):
        columns[f"cos{number}"], columns[f"sin{number}"] = np.cos(number * angle), np.sin(number * angle)
    if room is not None:
        columns["loss"] = _over(room, starts, width) - _over(temperature, starts, width)
    full: dict[str, float] = {}
    for name, power in (("heater", heater), ("chiller", chiller)):
        found = None if power is None else _share(power)
        if found is not None:
            full[name] = found[0]
            columns[name] = _over(found[1], starts, width)
    design = np.column_stack(list(columns.values()))
    known = np.isfinite(design).all(axis=1) & np.isfinite(change)
    if known.sum() < _FEWEST_EQUATIONS:
        return NotFitted("room or power are known in too few of the same hours")
    fitted = RLM(change[known], design[known], M=norms.HuberT()).fit()
    value = dict(zip(columns, map(float, fitted.params), strict=True))
    error = dict(zip(columns, map(float, fitted.bse), strict=True))
    return _model(value, error, full, days, float(fitted.scale), room)


def _model(
    value: Mapping[str, float],
    error: Mapping[str, float],
    full: Mapping[str, float],
    days: float,
    scale: float,
    room: FloatArray | None,
) -> HeatModel:
    def is_sure(name: str, sign: int) -> bool:
        return name in value and sign * value[name] > _LEAST_SIGNIFICANCE * error[name]

    angle = 2 * math.pi * (np.arange(24) + 0.5) / 24
    day = sum(
        value[f"cos{number}"] * np.cos(number * angle) + value[f"sin{number}"] * np.sin(number * angle)
        for number in range(1, _HARMONICS + 1)
    )
    hours = hours_error = usual_room = above = None
    if room is not None and is_sure("loss", +1):
        found = 1.0 / value["loss"]
        if _LEAST_HOURS <= found <= _GREATEST_HOURS:
            hours, hours_error = found, error["loss"] * found * found
            usual_room, above = float(np.nanmean(room)), value["constant"] * found
    return HeatModel(
        days=round(days, 2),
        error_per_hour=scale,
        day=tuple(np.asarray(day, float).tolist()),
        time_constant_hours=hours,
        time_constant_error=hours_error,
        room=usual_room,
        above_room=above,
        heater_per_hour=value["heater"] if is_sure("heater", +1) else None,
        heater_watts=full.get("heater"),
        chiller_per_hour=value["chiller"] if is_sure("chiller", -1) else None,
        chiller_watts=full.get("chiller"),
    )


def _evenly(times_us: IntArray, values: FloatArray, step_us: int, width: int) -> IntArray:
    """Where windows start that follow one another and hold no hole."""
    count = len(times_us) - width
    starts = np.arange(0, max(0, count), width)
    whole = times_us[starts + width] - times_us[starts] == width * step_us
    return np.asarray(starts[whole & np.isfinite(values[starts]) & np.isfinite(values[starts + width])])


def _over(values: FloatArray, starts: IntArray, width: int) -> FloatArray:
    """Mean between the middles of the first and the last quarter hour of each window."""
    total = (values[starts] + values[starts + width]) / 2
    for place in range(1, width):
        total = total + values[starts + place]
    return np.asarray(total / width)


def _share(power: FloatArray) -> tuple[float, FloatArray] | None:
    """Full power and the share of it; None where it hardly ever worked."""
    known = power[np.isfinite(power)]
    most = known.max(initial=0.0)
    working = known[known > 0.5 * most]
    if most <= 0 or len(working) < max(4, _LEAST_WORKING * len(known)):
        return None
    full = float(np.quantile(working, 0.9))
    return full, np.asarray(power / full)


def _day_angle(times_us: IntArray, time_zone: str) -> FloatArray:
    return np.asarray(2 * math.pi * time_of_day_us(times_us, time_zone) / (24 * HOUR_US))
