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

from rules.events import Priority, Reason, Sign
from rules.faults.fault import NORMAL, Finding, Parameter
from rules.look import Look, TankLook
from rules.trace import HOUR_CELLS, LOOK_BACK_CELLS, MINUTE_US, STEP_US

EXPLAINS = frozenset({"level_high", "temperature_low", "temperature_high"})
_LOOK_BACK_MINUTES = LOOK_BACK_CELLS * STEP_US // MINUTE_US
_RECENT_CELLS = 3 * HOUR_CELLS
_FEWEST_VALUES = 40
# Feeding pauses and water changes take less of three days than this.
_PAUSED_SHARE = 0.05
# The water between overflow and rim is down within minutes.
_DRAIN_CELLS = 4
_STANDING_SHARE = 0.1


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
        level = tank.known("sump_level")
        power = tank.known("return_pump_power")
        stands = None
        if power is not None:
            usual = power.habits.day_high
            if usual == usual and usual > 0.0:
                stands = power.value < _STANDING_SHARE * usual
        if stands is False:
            return NORMAL
        if stands and power is not None:
            return self._by_power(power, level, setting)
        return NORMAL if level is None else self._by_level(level, setting)

    def _by_power(self, power: Look, level: Look | None, setting: Mapping[str, float]) -> Finding:
        count = 0
        limit = _STANDING_SHARE * power.habits.day_high
        for value in reversed(power.cells(_LOOK_BACK_MINUTES)):
            if value == value and value >= limit:
                break
            count += 1
        stood_us = count * STEP_US
        concerns = (power.name,) if level is None else (power.name, level.name)
        reasons = (Reason(Sign.POWER, power.name, power.value, since_us=power.end_us - stood_us),)
        sure = 0.9 if stood_us > setting["longest_pause"] else 0.4
        return Finding(sure, reasons, EXPLAINS, concerns)

    def _by_level(self, level: Look, setting: Mapping[str, float]) -> Finding:
        least = max(setting["least_rise"], 6.0 * level.noise_of_level)
        if not level.value > level.habits.day_low + least:
            return NORMAL
        past = list(level.cells(_LOOK_BACK_MINUTES))
        ordered = sorted(value for value in past[:-_RECENT_CELLS] if value == value)
        if len(ordered) < _FEWEST_VALUES:
            return NORMAL
        top = ordered[round((1.0 - _PAUSED_SHARE) * (len(ordered) - 1))]
        above = max(0.25, 3.0 * level.noise_of_level)
        if level.value < top + above:
            return NORMAL
        # Back to where it last lay where it usually does.
        start = len(past)
        for place in range(len(past) - 1, -1, -1):
            value = past[place]
            if value == value and value < top + above / 2:
                break
            start = place
        plateau = [value for value in past[start:] if value == value]
        before = [value for value in past[max(0, start - HOUR_CELLS) : max(0, start - 1)] if value == value]
        settled = plateau[_DRAIN_CELLS // 2 :] or plateau
        if not before or not plateau:
            return NORMAL
        rise = sorted(settled)[len(settled) // 2] - sorted(before)[len(before) // 2]
        moved = max(settled) - min(settled)
        if rise < least or moved > max(0.4 * rise, 8.0 * level.noise_of_level):
            return NORMAL
        stood_us = (len(past) - start) * STEP_US
        reasons = (
            Reason(Sign.LEVEL, level.name, level.value, None, top, level.end_us - stood_us),
            Reason(Sign.CHANGE, level.name, rise, window_us=_DRAIN_CELLS * STEP_US),
        )
        return Finding(0.7 if stood_us > setting["longest_pause"] else 0.4, reasons, EXPLAINS)


FAULT = CirculationStopped()
