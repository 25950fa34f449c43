"""Circulation stopped: the return pump stands, and the sump and the display part.

Watches the sump's level and the return pump's power. When the pump stops, the water between overflow and
rim drains back: the sump rises by centimetres within minutes and stays there, the heater warms the sump
alone, and the display cools. A feeding pause and a water change look the same while they last, so only what
outlasts them is told. Rivals: a top-off overdose (the sump goes on rising), planned work that nobody told.
First: look whether the pump runs, and free its inlet with the plug pulled.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rules.events import Priority
from rules.faults.fault import NORMAL, Finding, Parameter
from rules.faults.return_pump import pump_power, stands_by_level, stands_by_power
from rules.look import Look, TankLook
from rules.trace import MINUTE_US

EXPLAINS = frozenset({"level_high", "temperature_low", "temperature_high"})


@dataclass(frozen=True, slots=True)
class CirculationStopped:
    """See the module."""

    code: str = "circulation_stopped"
    roles: tuple[str, ...] = ("sump_level", "return_pump_power")
    quantities: tuple[str, ...] = ()
    equipment: frozenset[str] = frozenset({"return_pump"})
    hears_silence: bool = False
    priority: Priority = Priority.URGENT
    parameters: tuple[Parameter, ...] = (
        Parameter(
            "least_rise",
            "difference",
            0.8,
            "how far the sump rises at least as the display drains back; a top-off's band is less",
            "water_level",
        ),
        Parameter(
            "longest_pause",
            "duration",
            60 * MINUTE_US,
            "a water change that nobody told stops the pump for up to an hour, a feeding for half of it",
        ),
        Parameter("on_delay", "duration", 0, "the longest pause is delay enough"),
        Parameter("off_delay", "duration", 10 * MINUTE_US, "the pump must run again for this long"),
    )

    def judge(self, subject: Look, tank: TankLook, setting: Mapping[str, float]) -> Finding | None:
        """See `Fault`."""
        if not subject.is_known:
            return None
        power = pump_power(tank)
        if power is not None:
            standing = stands_by_power(power)
        else:
            level = tank.known("sump_level")
            standing = None if level is None else stands_by_level(level, setting["least_rise"])
        if standing is None:
            return NORMAL
        is_long = standing.for_us > setting["longest_pause"]
        if power is not None:
            sure = 0.9 if is_long else 0.4
        elif tank.has("top_off"):
            sure = 0.7 if is_long else 0.4
        else:
            # Who fills by hand makes the same step.
            sure = 0.4
        return Finding(sure, standing.reasons, EXPLAINS, standing.concerns)


FAULT = CirculationStopped()
