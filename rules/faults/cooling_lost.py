"""Cooling lost: the chiller or the fans no longer hold the water.

Watches temperature; the power of chiller or fans makes it earlier and surer. The water rises slowly through
the temperature at which cooling usually turns it, by day and in a warm room, while nothing takes power to
cool it. Where cooling works at full power and the room wins, nothing has failed: the limits speak. Rivals:
a heater stuck on (faster, and by night too), a heat wave. First: look whether chiller or fans run, and
whether their supply is on.
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
    switching,
    working,
)
from rules.faults.heat_gained import Warm, beyond, see_warm
from rules.look import Look, TankLook
from rules.trace import MINUTE_US

EXPLAINS = frozenset({"temperature_high"})
_COOLERS = ("chiller", "fan")


@dataclass(frozen=True, slots=True)
class CoolingLost:
    """See the module."""

    code: str = "cooling_lost"
    roles: tuple[str, ...] = ("temperature",)
    quantities: tuple[str, ...] = ()
    equipment: frozenset[str] = frozenset(_COOLERS)
    hears_silence: bool = False
    priority: Priority = Priority.URGENT
    parameters: tuple[Parameter, ...] = (
        Parameter(
            "margin",
            "difference",
            0.15,
            "how far above where the water usually ends its rise",
            "temperature",
        ),
        Parameter(
            "least_rate",
            "rate",
            0.06,
            "slower is the season: without a fan 0.17 degC/h, without a chiller 0.27 to 0.48",
            "temperature",
        ),
        Parameter(
            "greatest_rate",
            "rate",
            1.0,
            "faster is a heater, a water change or the probe",
            "temperature",
        ),
        Parameter("on_delay", "duration", 20 * MINUTE_US, "cooling that sets in late is none that is lost"),
        Parameter("off_delay", "duration", 30 * MINUTE_US, "the water must be on its way back for this long"),
    )

    def judge(self, subject: Look, tank: TankLook, setting: Mapping[str, float]) -> Finding | None:
        """See `Fault`."""
        if not subject.is_known:
            return None
        warm = see_warm(subject, tank, setting["margin"], setting["greatest_rate"])
        if warm is None:
            return NORMAL
        found = self._by_power(subject, tank, warm)
        confidence, reasons, priority = (
            self._by_temperature(subject, warm, setting) if found is None else found
        )
        if confidence == 0.0:
            return NORMAL
        return Finding(*less_sure(confidence, reasons, warm.doubts), EXPLAINS, priority=priority)

    def _by_power(
        self, subject: Look, tank: TankLook, warm: Warm
    ) -> tuple[float, tuple[Reason, ...], Priority | None] | None:
        """What the power of the coolers tells; None where it tells nothing."""
        high = band_reason(subject, None, warm.usual.high, warm.since_us)
        found: tuple[float, tuple[Reason, ...], Priority | None] | None = None
        for cooler in _COOLERS:
            power = tank.known(f"{cooler}_power")
            switched = None if power is None else switching(subject, power, warms=False)
            if power is None or switched is None:
                continue
            if working(power, switched.full) >= 0.5:
                found = found or (0.0, (), None)
                continue
            over = beyond(subject, switched.on_at)
            if over != over:
                over = warm.height / warm.margin
            sure = 0.75 + 0.2 * ramp(over, 1.0, 2.0) if over > 1.0 else 0.0
            if found is None or sure > found[0]:
                rise = slope_reason(subject, 60, warm.usual.rises)
                found = (sure, (power_reason(power), high, rise), None)
        return found

    def _by_temperature(
        self, subject: Look, warm: Warm, setting: Mapping[str, float]
    ) -> tuple[float, tuple[Reason, ...], Priority | None]:
        high = band_reason(subject, None, warm.usual.high, warm.since_us)
        rise = slope_reason(subject, 60, warm.usual.rises)
        if warm.height < warm.margin or not warm.is_plausible:
            return 0.0, (), None
        hour, short = slope_over(subject, 60).median, slope_over(subject, 30).median
        least = setting["least_rate"]
        is_steady = hour >= least and short >= least / 2
        # A last digit of 0.1 degC hides so slow a rise from an hour, not from three.
        is_long = warm.hours >= 1.0 and slope_over(subject, 180).median >= least and hour > -least / 2
        if not (is_steady or is_long):
            return (0.3 if subject.change(360) > 0.05 else 0.0), (high, rise), None
        sure = 0.55 + 0.2 * ramp(warm.height, warm.margin, 3 * warm.margin)
        return sure, (high, rise), Priority.HIGH if warm.height < 3 * warm.margin else None


FAULT = CoolingLost()
