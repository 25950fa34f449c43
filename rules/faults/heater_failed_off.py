"""Heater failed off: the water loses heat and nothing gives it back.

Watches temperature; the power of the heater makes it earlier and surer. The water falls through the
temperature at which heating usually sets in, about as fast as it always does while the heater rests, and
does not turn. Rivals: a weak heater (slower), stopped circulation, a probe out of the water (faster than
water can), a setpoint lowered by hand. First: look whether the heater is warm and its supply is on, with
the plug pulled before hands go into the water.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rules.events import Priority, Reason
from rules.faults.fault import NORMAL, Finding, Parameter, ramp
from rules.faults.heat import (
    band_reason,
    less_sure,
    power_reason,
    slope_over,
    slope_reason,
)
from rules.faults.heat_lost import Cold, see_cold
from rules.look import Look, TankLook
from rules.trace import MINUTE_US, NAN

EXPLAINS = frozenset({"temperature_low"})
# From this share of the usual fall on it is plain that nothing heats; below it the water must lie deeper.
_PLAIN_RATIO = 0.7
_DEEP_MARGINS = 2.5
# Two standard errors of a slope over half an hour, per noise of a cell, 1/h.
_SHORT_DOUBT = 4.0
# So many margins below where the heater sets in leave no doubt that it should be on.
_FAR_MARGINS = 4.0
# So many noises above its lowest of the last hour it rises.
_TURNED_NOISES = 2.0
# A slower usual fall is noise, degC/h.
_LEAST_FALL = -0.05
# Without heat water falls as it usually does while the heater rests; in a colder room somewhat faster.
_STEEPEST_RATIO = 1.5


@dataclass(frozen=True, slots=True)
class HeaterFailedOff:
    """See the module."""

    code: str = "heater_failed_off"
    roles: tuple[str, ...] = ("temperature",)
    quantities: tuple[str, ...] = ()
    equipment: frozenset[str] = frozenset({"heater"})
    hears_silence: bool = False
    priority: Priority = Priority.URGENT
    parameters: tuple[Parameter, ...] = (
        Parameter(
            "margin",
            "difference",
            0.12,
            "how far below where heating usually sets in; half an hour without heat in a tank of 1500 L",
            "temperature",
        ),
        Parameter(
            "least_rate",
            "rate",
            0.08,
            "slower is a weak heater or the room: a tank of 1500 L without heat starts at 0.24 degC/h",
            "temperature",
        ),
        Parameter(
            "greatest_rate",
            "rate",
            1.0,
            "faster is a water change or the probe: a tank of 80 L without heat starts at 0.45 degC/h",
            "temperature",
        ),
        Parameter(
            "on_delay",
            "duration",
            15 * MINUTE_US,
            "a feeding pause or a wave of cold water has passed by then",
        ),
        Parameter("off_delay", "duration", 30 * MINUTE_US, "the water must be on its way back for this long"),
    )

    def judge(self, subject: Look, tank: TankLook, setting: Mapping[str, float]) -> Finding | None:
        """See `Fault`."""
        if not subject.is_known:
            return None
        cold = see_cold(subject, tank, setting["margin"], setting["greatest_rate"])
        if cold is None:
            return NORMAL
        confidence, reasons = self._weigh(subject, cold, setting)
        if confidence == 0.0:
            return NORMAL
        return Finding(*less_sure(confidence, reasons, cold.doubts), EXPLAINS)

    def _weigh(
        self, subject: Look, cold: Cold, setting: Mapping[str, float]
    ) -> tuple[float, tuple[Reason, ...]]:
        low = band_reason(subject, cold.usual.low, None, cold.since_us)
        fall = slope_reason(subject, 60, cold.usual.falls)
        if cold.power is not None:
            if max(cold.share, cold.power.value / cold.full) > 0.1:
                return 0.0, ()
            rest = cold.rest if cold.rest == cold.rest else cold.depth / cold.margin
            # A probe that wanders a last digit down falls no more; far below it need not.
            is_falling = slope_over(subject, 60).median <= -setting["least_rate"] / 2
            if rest > 1.0 and (is_falling or rest > _FAR_MARGINS):
                return 0.75 + 0.2 * ramp(rest, 1.0, 2.0), (power_reason(cold.power), low, fall)
            return 0.3 * ramp(rest, 0.0, 1.0), (power_reason(cold.power), low)
        if cold.depth < cold.margin or not cold.is_plausible:
            return 0.0, ()
        hour, short = slope_over(subject, 60).median, slope_over(subject, 30).median
        least = setting["least_rate"]
        if not (hour <= -least and short <= -least / 2):
            return cold.lingering, (low, fall)
        doubt = _SHORT_DOUBT * subject.noise_of_level
        lowest = min(value for value in subject.cells(60) if value == value)
        has_turned = subject.value - lowest > _TURNED_NOISES * subject.noise_of_level
        # Water that is held within a hundredth or two tells nothing of how it falls without heat.
        falls = cold.usual.falls if cold.usual.falls < _LEAST_FALL else NAN
        steepest = _STEEPEST_RATIO * falls - doubt if falls == falls else -setting["greatest_rate"]
        if has_turned or hour < steepest or short < steepest:
            # It rises again, or falls faster than without heat: cold water came in.
            return max(cold.lingering, 0.3), (low, fall)
        # As fast as without heat it is the heater; half as fast is a weak one, lamps that help, or a draught.
        # Of hour and half hour the slower counts: cold water that came in is over within the half hour.
        steady = max(hour, short - doubt)
        ratio = steady / cold.falls if falls == falls else 1.0
        if ratio < _PLAIN_RATIO and cold.depth < _DEEP_MARGINS * cold.margin:
            return 0.4, (fall, low)
        return 0.45 + 0.25 * ramp(ratio, 0.3, 0.6), (fall, low)


FAULT = HeaterFailedOff()
