"""Probe noisy: readings that scatter far more than this probe usually does.

Watches every probe: the noise within five minutes, or from reading to reading where a probe gives few,
against its own habit of three days. Bubbles, a loose plug and a wet connector give jumps between two levels;
a median of jumps sees them where they are frequent. A display that shows one digit less is no noise: its
jumps are one digit. Rivals: a probe that is half out of the water. First: look at plug and cable, then at
bubbles.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

from rules.events import Priority, Reason, Sign
from rules.faults.fault import NORMAL, Finding, Parameter, ramp
from rules.faults.probe import WATER, is_water, scatter
from rules.known import in_order, middle
from rules.look import Look, TankLook
from rules.setup import HOUR_US
from rules.trace import MINUTE_US

_WINDOW = 60
# The gate: so many cells of the last hour are odd, by more than two digits beside one.
_GATE_RATIO = 2.1
_GATE_CELLS = 5
# An hour is noisier than any before by so much; water that ripples has rough hours of its own.
_BEYOND_GREATEST = 1.2
_AS_BEFORE = 0.4
# What lasts for half of so many minutes is no rough hour.
_LASTING = 720
# Where cells tell no noise, as many readings as these are looked at.
_READINGS = 18
_FEWEST_READINGS = 12
# Of white noise the middle jump is 0.6 of the span of the middle half of the values, of a random walk 0.15.
_NOISE_SHARE = 0.4
# Of a digit that flickers the median step is the digit itself.
_DIGIT_SHARE = 0.5


@dataclass(frozen=True, slots=True)
class ProbeNoisy:
    """See the module."""

    code: str = "probe_noisy"
    roles: tuple[str, ...] = ()
    quantities: tuple[str, ...] = WATER
    equipment: frozenset[str] = frozenset()
    hears_silence: bool = False
    priority: Priority = Priority.HIGH
    parameters: tuple[Parameter, ...] = (
        Parameter(
            "factor",
            "number",
            3.2,
            "how many times the noise of the last three days; a pump set stronger makes it twice as large, "
            "and a coarse display may show three digits beside one",
        ),
        Parameter(
            "on_delay",
            "duration",
            90 * MINUTE_US,
            "hands in the tank stir for less than an hour, rough water for a little more",
        ),
        Parameter("off_delay", "duration", HOUR_US, "a loose plug is quiet for a while"),
    )

    def judge(self, subject: Look, tank: TankLook, setting: Mapping[str, float]) -> Finding | None:
        """See `Fault`."""
        if not subject.is_known:
            return None
        habits = subject.habits
        if habits.interval_cells != habits.interval_cells:
            return None
        if habits.noise == habits.noise:
            limit = _GATE_RATIO * max(habits.noise, _DIGIT_SHARE * habits.resolution)
            if sum([noise > limit for noise in subject.noises(_WINDOW)]) < _GATE_CELLS:
                return NORMAL
            return self._within_cells(subject, tank, setting) or NORMAL
        return self._between_readings(subject, tank, setting) or NORMAL

    def _within_cells(self, subject: Look, tank: TankLook, setting: Mapping[str, float]) -> Finding | None:
        known = sorted(noise for noise in subject.noises(_WINDOW) if noise == noise)
        usual = subject.hours.usual
        if len(known) < _GATE_CELLS or usual.noise != usual.noise:
            return None
        noise = known[len(known) // 2]
        is_new = not noise < _BEYOND_GREATEST * usual.greatest_noise or self._lasts(subject, setting)
        digit = subject.recent_resolution(_WINDOW)
        return self._found(noise, usual.noise, digit, subject, tank, setting, is_new=is_new)

    def _lasts(self, subject: Look, setting: Mapping[str, float]) -> bool:
        """Whether it has been so noisy for longer than a rough hour."""
        noises = in_order(subject.noises(_LASTING))
        usual = max(subject.hours.usual.noise, _DIGIT_SHARE * subject.recent_resolution(_LASTING))
        return len(noises) >= 6 * _GATE_CELLS and middle(noises) >= setting["factor"] * usual

    def _between_readings(
        self, subject: Look, tank: TankLook, setting: Mapping[str, float]
    ) -> Finding | None:
        width = max(_WINDOW, round(5 * (_READINGS + 1) * subject.habits.interval_cells))
        cells = [value for value in subject.cells(min(width, 12 * _WINDOW)) if value == value]
        if len(cells) < _FEWEST_READINGS:
            return None
        limit = 3.0 * subject.noise_of_level
        jumps = [
            abs(value - (before + after) / 2)
            for before, value, after in zip(cells, cells[1:], cells[2:], strict=False)
        ]
        if sum([jump > limit for jump in jumps]) < _GATE_CELLS:
            return None
        usual = subject.hours.usual
        jumps.sort()
        jump = jumps[len(jumps) // 2]
        if usual.jump != usual.jump or jump < usual.rough_jump:
            return None
        # Water that moves much goes somewhere; noise stays where it is.
        cells_in_order = sorted(cells)
        quarter = len(cells) // 4
        if jump < _NOISE_SHARE * (cells_in_order[-1 - quarter] - cells_in_order[quarter]):
            return None
        steps = sorted(abs(after - before) for before, after in pairwise(cells))
        digit = next((step for step in steps if step > 0.0), 0.0)
        return self._found(jump, usual.jump, digit, subject, tank, setting)

    def _found(
        self,
        noise: float,
        usual: float,
        digit: float,
        subject: Look,
        tank: TankLook,
        setting: Mapping[str, float],
        *,
        is_new: bool = True,
    ) -> Finding | None:
        if not is_water(subject, tank):
            return None
        ratio = noise / max(usual, _DIGIT_SHARE * digit, 1e-12)
        factor = setting["factor"]
        sure = 0.5 * ramp(ratio, 0.5 * factor, factor) + 0.4 * ramp(ratio, factor, 3.0 * factor)
        if not is_new:
            # As rough as in another hour of these days: it ends nothing, but begins nothing either.
            sure = min(sure, _AS_BEFORE)
        reason = Reason(Sign.NOISE, subject.name, noise, None, usual, window_us=_WINDOW * MINUTE_US)
        return Finding(sure, (reason,), frozenset({scatter(subject)}), priority=subject.series.probe_priority)


FAULT = ProbeNoisy()
