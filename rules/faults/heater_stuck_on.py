"""Heater stuck on: thermostat or relay does not let go, and the water warms beyond the usual.

Watches temperature; the power of the heater makes it earlier and surer. The water rises on through the
temperature at which heating usually ends, by much more than lamps and room make of this hour: 0.5 to 1.5 W
a litre are 0.4 to 1.3 degC/h, less what the tank loses. A heat wave follows the room and stays slow.
Rivals: a lost chiller or fan, a heat wave. First: pull the heater's plug, then cool gently.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rules.events import Priority, Reason
from rules.faults.fault import NORMAL, Finding, Parameter, ramp
from rules.faults.heat import (
    RESTING_WATTS,
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
# From this share of what the heater usually does on, it is plain; below it the water must have come higher.
_PLAIN_SHARE = 0.8
_HIGH_MARGINS = 2.5
# Usual slope of an hour without lamps, degC/h, and how much of the least rate is too much then.
_NIGHT_SLOPE = 0.03
_NIGHT_SHARE = 0.75
# And of the usual steep rise: a heater that goes on keeps most of it, what a hot room gives is less.
_NIGHT_SHARE_OF_RISE = 0.4
# Of the usual steep rise, below where the water usually ends it.
_STEEPER = 1.15


@dataclass(frozen=True, slots=True)
class HeaterStuckOn:
    """See the module."""

    code: str = "heater_stuck_on"
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
            "how far above where the water usually ends its rise",
            "temperature",
        ),
        Parameter(
            "least_rate",
            "rate",
            0.2,
            "slower is the room: a heater that does not let go starts at 0.43 degC/h and more",
            "temperature",
        ),
        Parameter(
            "greatest_rate",
            "rate",
            2.0,
            "faster is a water change or the probe: 1.5 W a litre start at 1.3 degC/h",
            "temperature",
        ),
        Parameter("on_delay", "duration", 15 * MINUTE_US, "a wave of warm water has passed by then"),
        Parameter("off_delay", "duration", 30 * MINUTE_US, "the water must be on its way back for this long"),
    )

    def judge(self, subject: Look, tank: TankLook, setting: Mapping[str, float]) -> Finding | None:
        """See `Fault`."""
        if not subject.is_known:
            return None
        warm = see_warm(subject, tank, setting["margin"], setting["greatest_rate"])
        if warm is None:
            return NORMAL
        confidence, reasons = self._weigh(subject, tank, warm, setting)
        if confidence == 0.0:
            return NORMAL
        return Finding(*less_sure(confidence, reasons, warm.doubts), EXPLAINS)

    def _weigh(
        self, subject: Look, tank: TankLook, warm: Warm, setting: Mapping[str, float]
    ) -> tuple[float, tuple[Reason, ...]]:
        high = band_reason(subject, None, warm.usual.high, warm.since_us)
        rise = slope_reason(subject, 60, warm.usual.rises)
        power = tank.known("heater_power")
        if power is not None:
            if not power.value > RESTING_WATTS:
                return 0.0, ()
            switched = switching(subject, power, warms=True)
            if switched is not None:
                if working(power, switched.full) < 0.5:
                    return 0.0, ()
                over = beyond(subject, switched.off_at)
                if over != over:
                    over = warm.height / warm.margin
                sure = 0.75 + 0.2 * ramp(over, 1.0, 2.0) if over > 1.0 else 0.0
                return sure, (power_reason(power), high, rise)
        hour, short = slope_over(subject, 60).median, slope_over(subject, 30).median
        least = setting["least_rate"]
        if not warm.is_plausible:
            return 0.0, ()
        if not (hour >= least / 2 and short >= least / 2):
            is_warm = warm.height >= warm.margin and subject.change(360) > 0.05
            return (0.3 if is_warm else 0.0), (high, rise)
        # What the heater makes of the water by night is its usual steep rise; by day lamps come on top of it.
        rises = warm.usual.rises
        share = warm.excess / max(rises, 2 * least) if rises == rises else 1.0
        enough = max(_NIGHT_SHARE * least, _NIGHT_SHARE_OF_RISE * rises if rises == rises else 0.0)
        sure = 0.0
        if warm.height >= warm.margin:
            sure = 0.4 + 0.35 * ramp(share, 0.4, 0.9)
            if share < _PLAIN_SHARE and warm.height < _HIGH_MARGINS * warm.margin:
                # A warm afternoon comes so far.
                sure = 0.4
            elif hour - warm.excess <= _NIGHT_SLOPE and hour >= enough and warm.hours >= 1.0:
                # At an hour at which it usually falls or stays, neither lamps nor the room raise it.
                sure = max(sure, 0.65)
        elif warm.above_hour >= 2 * warm.margin and hour >= _STEEPER * rises:
            sure = 0.4 + 0.3 * ramp(share, 0.5, 1.0)
        if tank.has("chiller") or tank.has("fan"):
            # Cooling that works takes away what a heater gives: it is the likelier cause.
            sure *= 0.6
        return sure, (rise, high)


FAULT = HeaterStuckOn()
