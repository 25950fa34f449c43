"""Probe stuck: a series shows one value, or noise without the water's own course.

Watches every series. Three signs: the flat line test, where its limits were set; a value that stands still
far longer than it did in the days before, which asks for no limits; and a day cycle that is gone although
noise remains. Water that never moves by more than a last digit stands still for hours anyway, so what counts
is how long this series usually rests. Rivals: a probe out of the water, an input that is at its rail. First:
read the probe's display, and move the probe in the water.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rules.events import Priority, Reason, Sign
from rules.faults.fault import NORMAL, Finding, Parameter, ramp
from rules.faults.probe import WATER, frozen, is_water
from rules.look import Look, TankLook
from rules.setup import HOUR_US
from rules.trace import HOUR_CELLS, MINUTE_US, STEP_US

# So many moves must have been due in the time in which there was none.
_LEAST_MOVES = 8.0
# A series of few digits may rest on one of them for long: then more is asked.
_FEW_DIGITS = 4.0
_SELDOM_MOVING = 0.6
# A value on so many digits may be the first of a display that shows fewer of them from now on.
_ROUND_DIGITS = 5
_FACTOR_OF_FEW_DIGITS = 2.0
# What may be left of a day cycle that is as large as the band is wide: of its course, and of its range.
_LOST_SHARE = 0.2
_LOST_RANGE = 0.3
_CYCLE_HOURS = 24
_FEWEST_HOURS = 20
# Nothing rests that has moved within the hour.
_GATE_CELLS = HOUR_CELLS


@dataclass(frozen=True, slots=True)
class ProbeStuck:
    """See the module."""

    code: str = "probe_stuck"
    roles: tuple[str, ...] = ()
    quantities: tuple[str, ...] = (*WATER, "flow", "relative_humidity", "power")
    equipment: frozenset[str] = frozenset()
    hears_silence: bool = False
    priority: Priority = Priority.HIGH
    parameters: tuple[Parameter, ...] = (
        Parameter(
            "factor",
            "number",
            3.0,
            "how many times longer than ever in three days a value must stand still to be stuck",
        ),
        Parameter(
            "least_rest",
            "duration",
            2 * HOUR_US,
            "and how long at least, however lively it was: a thermostat's cycle takes as long",
        ),
        Parameter("on_delay", "duration", 0, "standing still is a delay in itself"),
        Parameter("off_delay", "duration", 10 * MINUTE_US, "a bad contact comes and goes"),
    )

    def judge(self, subject: Look, tank: TankLook, setting: Mapping[str, float]) -> Finding | None:
        """See `Fault`."""
        if subject.is_flat:
            since_us = subject.end_us - subject.rest_cells() * STEP_US
            return self._found(0.9, subject, since_us)
        if not is_water(subject, tank):
            return NORMAL
        rest = subject.rest_cells() if _seems_still(subject) else 0
        if rest >= _GATE_CELLS:
            return self._at_rest(subject, rest, setting)
        return self._without_cycle(subject)

    def _at_rest(self, subject: Look, rest: int, setting: Mapping[str, float]) -> Finding | None:
        """The value has not moved for an hour and more: is that long for this series?"""
        usual = subject.hours.usual
        if usual.moving != usual.moving:
            return None
        least = max(setting["factor"] * usual.longest_rest, setting["least_rest"] / STEP_US)
        digit = subject.habits.resolution
        is_coarse = usual.high - usual.low < _FEW_DIGITS * digit or usual.moving < _SELDOM_MOVING
        if is_coarse or _is_round(subject.value, digit):
            least *= _FACTOR_OF_FEW_DIGITS
        due = usual.moving * rest / max(subject.habits.interval_cells, 1.0)
        if due < _LEAST_MOVES:
            return NORMAL
        sure = 0.25 * ramp(rest, 0.3 * least, 0.5 * least) + 0.25 * ramp(rest, 0.5 * least, least)
        if sure >= 0.5:
            sure += 0.4 * ramp(rest, least, 3.0 * least)
        return self._found(sure, subject, subject.end_us - rest * STEP_US)

    def _without_cycle(self, subject: Look) -> Finding:
        """It moves, but the day's course is gone."""
        band, habits = subject.band, subject.habits
        if band is None or not habits.day_high - habits.day_low < _LOST_RANGE * (band.high - band.low):
            return NORMAL
        hours = subject.hours
        centers = hours.centers[-_CYCLE_HOURS:]
        known = [value for value in hours.medians[-_CYCLE_HOURS:] if value == value]
        if len(known) < _FEWEST_HOURS:
            return NORMAL
        cycle, left = max(centers) - min(centers), max(known) - min(known)
        if cycle < band.high - band.low or left > _LOST_RANGE * cycle:
            return NORMAL
        if not hours.follows(_CYCLE_HOURS) < _LOST_SHARE:
            return NORMAL
        reason = Reason(Sign.FLAT, subject.name, left, cycle, None, window_us=_CYCLE_HOURS * HOUR_US)
        return Finding(0.6, (reason,), frozenset({frozen(subject)}), priority=subject.series.probe_priority)

    def _found(self, sure: float, subject: Look, since_us: int) -> Finding:
        if sure <= 0.0:
            return NORMAL
        reason = Reason(Sign.FLAT, subject.name, subject.value, since_us=since_us)
        return Finding(sure, (reason,), frozenset({frozen(subject)}), priority=subject.series.probe_priority)


def _seems_still(subject: Look) -> bool:
    value = subject.value
    return all(cell == value or cell != cell for cell in subject.cells(60))


def _is_round(value: float, digit: float) -> bool:
    if not digit > 0.0:
        return False
    steps = value / (_ROUND_DIGITS * digit)
    return abs(steps - round(steps)) < 0.5 / _ROUND_DIGITS


FAULT = ProbeStuck()
