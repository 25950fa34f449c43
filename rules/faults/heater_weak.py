"""Heater weak: it works, and no longer holds the water.

Watches temperature; the power of the heater makes it earlier and surer. One of two heaters dead, one too
small for the room, or one that heats air: the water sags through the temperature at which heating usually
sets in, slower than it falls without any heat, while the heater works without a rest or takes less than it
used to. Rivals: a heater failed off (faster), a cold room. First: feel both heaters, with the plugs pulled
before hands go into the water.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rules.events import Priority, Reason
from rules.faults.fault import NORMAL, Finding, Parameter, ramp
from rules.faults.heat import (
    band_reason,
    cold_room,
    less_sure,
    power_reason,
    slope_over,
    slope_reason,
)
from rules.faults.heat_lost import Cold, see_cold
from rules.look import Look, TankLook
from rules.setup import HOUR_US
from rules.trace import MINUTE_US

EXPLAINS = frozenset({"temperature_low"})


@dataclass(frozen=True, slots=True)
class HeaterWeak:
    """See the module."""

    code: str = "heater_weak"
    roles: tuple[str, ...] = ("temperature",)
    quantities: tuple[str, ...] = ()
    equipment: frozenset[str] = frozenset({"heater"})
    hears_silence: bool = False
    priority: Priority = Priority.HIGH
    parameters: tuple[Parameter, ...] = (
        Parameter(
            "margin",
            "difference",
            0.15,
            "how far below where heating usually sets in; a cold draught takes less",
            "temperature",
        ),
        Parameter(
            "greatest_rate",
            "rate",
            1.0,
            "faster is a water change or the probe: no water cools so fast",
            "temperature",
        ),
        Parameter(
            "least_time",
            "duration",
            90 * MINUTE_US,
            "how long it must stay so cold where only temperature is known; an open window is shut by then",
        ),
        Parameter(
            "dropped_power",
            "number",
            0.75,
            "share of its usual full power at which one of two heaters is missing",
        ),
        Parameter("on_delay", "duration", 20 * MINUTE_US, "it is slow, and a heater that catches up is none"),
        Parameter("off_delay", "duration", 60 * MINUTE_US, "the water must be held again for this long"),
    )

    def judge(self, subject: Look, tank: TankLook, setting: Mapping[str, float]) -> Finding | None:
        """See `Fault`."""
        if not subject.is_known:
            return None
        cold = see_cold(subject, tank, setting["margin"], setting["greatest_rate"])
        if cold is None:
            return NORMAL
        confidence, reasons = self._weigh(subject, tank, cold, setting)
        if confidence == 0.0:
            return NORMAL
        return Finding(*less_sure(confidence, reasons, cold.doubts), EXPLAINS)

    def _weigh(
        self, subject: Look, tank: TankLook, cold: Cold, setting: Mapping[str, float]
    ) -> tuple[float, tuple[Reason, ...]]:
        low = band_reason(subject, cold.usual.low, None, cold.since_us)
        if cold.power is not None:
            if cold.share < 0.1:
                return 0.0, ()
            works = (power_reason(cold.power), low)
            if cold.share <= setting["dropped_power"] and cold.rest > 0.0:
                return 0.6 + 0.3 * ramp(cold.rest, 0.0, 1.0), works
            if cold.depth >= cold.margin and cold.hours * HOUR_US >= setting["least_time"] / 2:
                room = cold_room(tank)
                if room is not None:
                    return 0.4, (*works, room)
                is_falling = slope_over(subject, 60).median < 0.0
                return (0.75 if is_falling else max(cold.lingering, 0.3)), works
            return 0.0, ()
        long = slope_over(subject, 180)
        if cold.depth < cold.margin or not cold.is_plausible or not long.is_known:
            return 0.0, ()
        if cold.hours * HOUR_US < setting["least_time"]:
            return 0.3, (low,)
        if long.median >= -0.01 or slope_over(subject, 60).median > 0.02:
            return cold.lingering, (low,)
        ratio = slope_over(subject, 60).median / cold.falls if cold.usual.falls < -0.05 else 1.0
        return 0.65 - 0.3 * ramp(ratio, 0.5, 0.8), (low, slope_reason(subject, 180, cold.usual.falls))


FAULT = HeaterWeak()
