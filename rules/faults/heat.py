"""Heat lost or gained without the heater's consent, read from temperature alone.

Both heater faults are one shape seen from two sides: temperature leaves the usual band of this hour
and keeps going, no faster than water can. A water change leaves it too, but in a step that is over
within the hour, so the slope of the last twenty minutes must agree with that of the last hour.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from rules.events import Priority
from rules.faults.fault import Parameter, Symptom
from rules.features import Features
from rules.setup import HOUR_US

_MINUTE_US = HOUR_US // 60

PARAMETERS = (
    Parameter(
        "margin",
        "difference",
        0.1,
        "how far outside the usual band; the band already holds the thermostat's hysteresis",
    ),
    Parameter(
        "least_rate",
        "rate",
        0.08,
        "slower is drift of the room: a tank of 1500 L without heat starts at 0.24 degC/h",
    ),
    Parameter(
        "greatest_rate",
        "rate",
        1.2,
        "faster is a water change or the probe: a tank of 80 L without heat starts at 0.45 degC/h",
    ),
    Parameter(
        "learning_rate",
        "rate",
        0.15,
        "while there is no baseline: least rate over three hours, above the usual swing of a day",
    ),
    Parameter(
        "learning_margin",
        "difference",
        0.3,
        "while there is no baseline: how far outside the range of the day before",
    ),
    Parameter(
        "on_delay",
        "duration",
        15 * _MINUTE_US,
        "a water change turns the short slope within this time; heat lost does not",
    ),
    Parameter(
        "off_delay",
        "duration",
        30 * _MINUTE_US,
        "the water must be on its way back for this long",
    ),
)


@dataclass(frozen=True, slots=True)
class HeatFault:
    """A heater fault; `sign` is -1 where heat is lost and +1 where it is gained."""

    code: str
    sign: int
    equipment: str = "heater"
    quantity: str = "temperature"
    priority: Priority = Priority.URGENT
    parameters: tuple[Parameter, ...] = PARAMETERS

    def symptom(self, features: Features, setting: Mapping[str, float]) -> Symptom:
        """Judge rows of features; comparisons with NaN are False, so what is not known is not on."""
        sign = self.sign
        level = features.level
        edge = features.expected[0 if sign < 0 else 1]
        hour, short = (sign * slope.median for slope in (features.slope, features.slope_short))
        steady = (hour >= setting["least_rate"]) & (hour <= setting["greatest_rate"])
        steady &= (short >= setting["least_rate"]) & (short <= setting["greatest_rate"])
        outside = sign * (level - edge) >= setting["margin"]
        learning = ~np.isfinite(edge)
        if learning.any():
            past = features.day_range[0 if sign < 0 else 1]
            unusual = sign * features.slope_long.median >= setting["learning_rate"]
            unusual &= sign * (level - past) >= setting["learning_margin"]
            outside = np.where(learning, unusual, outside)
        back = np.where(learning, hour <= -setting["least_rate"] / 2, sign * (level - edge) <= 0)
        return Symptom(
            is_on=steady & outside,
            is_off=back,
            is_known=np.isfinite(level) & np.isfinite(hour),
            reasons=(
                "falling_steadily" if sign < 0 else "rising_steadily",
                "below_usual" if sign < 0 else "above_usual",
            ),
        )
