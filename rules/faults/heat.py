"""Heat lost or gained without the heater's consent, read from temperature alone.

Both heater faults are one shape seen from two sides: temperature leaves the usual band of this hour
and keeps going, no faster than water can. A water change leaves it too, but in a step that is over
within the hour, so the slope of the last twenty minutes must agree with that of the last hour.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rules.events import Priority, Reason, Sign
from rules.faults.fault import NORMAL, Finding, Parameter
from rules.look import Look, TankLook
from rules.setup import HOUR_US

_MINUTE_US = HOUR_US // 60

PARAMETERS = (
    Parameter(
        "margin",
        "difference",
        0.1,
        "how far outside the usual band; the band already holds the thermostat's hysteresis",
        "temperature",
    ),
    Parameter(
        "least_rate",
        "rate",
        0.08,
        "slower is drift of the room: a tank of 1500 L without heat starts at 0.24 degC/h",
        "temperature",
    ),
    Parameter(
        "greatest_rate",
        "rate",
        1.2,
        "faster is a water change or the probe: a tank of 80 L without heat starts at 0.45 degC/h",
        "temperature",
    ),
    Parameter(
        "learning_rate",
        "rate",
        0.15,
        "while there is no baseline: least rate over three hours, above the usual swing of a day",
        "temperature",
    ),
    Parameter(
        "learning_margin",
        "difference",
        0.3,
        "while there is no baseline: how far outside the range of the day before",
        "temperature",
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
    roles: tuple[str, ...] = ("temperature",)
    quantities: tuple[str, ...] = ()
    equipment: frozenset[str] = frozenset({"heater"})
    hears_silence: bool = False
    priority: Priority = Priority.URGENT
    parameters: tuple[Parameter, ...] = PARAMETERS

    def judge(self, subject: Look, tank: TankLook, setting: Mapping[str, float]) -> Finding | None:  # noqa: ARG002
        """See `Fault`."""
        if not subject.is_known:
            return None
        sign = self.sign
        band = subject.band
        if band is not None:
            edge = band.low if sign < 0 else band.high
            beyond, least_beyond = sign * (subject.value - edge), setting["margin"]
        else:
            edge = subject.habits.day_low if sign < 0 else subject.habits.day_high
            beyond, least_beyond = sign * (subject.value - edge), setting["learning_margin"]
        if not beyond > 0:
            return NORMAL
        hour, short = subject.slope(60), subject.slope(25)
        least, greatest = setting["least_rate"], setting["greatest_rate"]
        is_steady = least <= sign * hour.median <= greatest and least <= sign * short.median <= greatest
        if band is None:
            is_steady = is_steady and sign * subject.slope(180).median >= setting["learning_rate"]
            if sign * hour.median <= -least / 2:
                return NORMAL
        if not (is_steady and beyond >= least_beyond):
            return Finding(0.3)
        return Finding(
            0.7,
            (
                Reason(Sign.SLOPE, subject.name, hour.median, window_us=HOUR_US),
                Reason(
                    Sign.BAND,
                    subject.name,
                    subject.value,
                    None if band is None else band.low,
                    None if band is None else band.high,
                ),
            ),
            frozenset({"temperature_low" if sign < 0 else "temperature_high"}),
        )
