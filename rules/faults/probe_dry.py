"""Probe dry: a probe that measures air, for its cup is empty, it was lifted, or the water fell below it.

Watches temperature, pH, salinity and level, each for what air does to it: salinity or conductivity falls to
almost nothing at once (no water loses its salt within half an hour), pH goes to where an open electrode goes,
near 7 or to a rail, temperature moves to that of the room faster than water can, and a level reads its own
zero. What a cup of new water does within minutes, and hands that lift a probe, is over within the on-delay.
Rivals: a heater that failed off (slower), fresh water (much slower), a leak (the level falls, it does not
drop). First: look whether the probe is under water.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from rules.events import Priority, Reason, Sign
from rules.faults.fault import NORMAL, Finding, Parameter, ramp
from rules.faults.probe import SALT, frozen, scatter, word_of
from rules.look import Look, TankLook
from rules.setup import HOUR_US
from rules.trace import MINUTE_US, STEP_US

_LOOK_BACK_MINUTES = 72 * 60
# Less of what was there is no water that a tank can hold.
_SALT_LEFT = 0.4
_SALT_WET = 0.75
_LEAST_SALT = 2.0
# An open glass electrode floats about its zero point, a broken one goes to a rail (common practice, no
# source).
_PH_OPEN = (6.2, 7.5)
_PH_RAILS = (3.0, 12.0)
_PH_FALL = 0.4
# How much of the way to the room is gone within the time in which only air is so quick.
_ROOM_SHARE = 0.6
_NEAR_ROOM = 1.5
_FAR_FROM_ROOM = 3.0
# A level that reads next to nothing, and what was there before (cm).
_LEVEL_LEFT = 0.05
_LEAST_LEVEL = 3.0
# An emptied sump is filled again within the time of a water change.
_WATER_CHANGE_US = HOUR_US


class Drop(NamedTuple):
    """How a series left the water: in how many minutes, and when that was."""

    minutes: float
    since_us: int


@dataclass(frozen=True, slots=True)
class ProbeDry:
    """See the module."""

    code: str = "probe_dry"
    roles: tuple[str, ...] = ()
    quantities: tuple[str, ...] = ("temperature", "ph", *SALT, "water_level")
    equipment: frozenset[str] = frozenset()
    hears_silence: bool = False
    priority: Priority = Priority.HIGH
    parameters: tuple[Parameter, ...] = (
        Parameter(
            "longest_drop",
            "duration",
            HOUR_US // 2,
            "a probe is dry at once; water takes hours for what air does within this time",
        ),
        Parameter(
            "least_drop",
            "difference",
            2.0,
            "how far temperature must leave the usual band within that time; no water change does",
            "temperature",
        ),
        Parameter(
            "least_drop_to_room",
            "difference",
            0.8,
            "the same where a probe in the room shows as much; less is what new water brings",
            "temperature",
        ),
        Parameter("on_delay", "duration", 20 * MINUTE_US, "a probe is cleaned in less than that"),
        Parameter("off_delay", "duration", 15 * MINUTE_US, "what splashes is not yet under water"),
    )

    def judge(self, subject: Look, tank: TankLook, setting: Mapping[str, float]) -> Finding | None:
        """See `Fault`."""
        value = subject.value
        if value != value:
            return None
        quantity = subject.series.quantity
        if quantity == "temperature":
            return self._temperature(subject, tank, setting)
        if quantity == "ph":
            return self._ph(subject, tank, setting)
        if quantity == "water_level":
            return self._level(subject, tank, setting)
        return self._salt(subject, tank, setting)

    def _salt(self, subject: Look, tank: TankLook, setting: Mapping[str, float]) -> Finding:
        value = subject.value
        usual = _usual(subject)
        if not (value < _SALT_LEFT * usual and usual >= _LEAST_SALT):
            return NORMAL
        drop = _drop(subject, lambda cell: cell > _SALT_WET * usual, lambda cell: cell < _SALT_LEFT * usual)
        if drop is None or drop.minutes > _longest(setting, subject):
            return NORMAL
        reason = Reason(Sign.LEVEL, subject.name, value, usual, None, drop.since_us)
        return self._found(0.9, (reason,), subject, tank, "low")

    def _ph(self, subject: Look, tank: TankLook, setting: Mapping[str, float]) -> Finding:
        value = subject.value
        if _PH_OPEN[1] < value < _PH_RAILS[1]:
            return NORMAL
        if not _PH_RAILS[0] < value < _PH_RAILS[1]:
            reason = Reason(Sign.LEVEL, subject.name, value, *_PH_RAILS)
            return self._found(0.85, (reason,), subject, tank, "low" if value < 7.0 else "high")
        usual = _usual(subject)
        if not (_PH_OPEN[0] < value < usual - _PH_FALL):
            return NORMAL
        edge = min(usual - 0.2, _PH_OPEN[1] + 0.1)
        drop = _drop(subject, lambda cell: cell > edge, lambda cell: cell < _PH_OPEN[1])
        if drop is None or drop.minutes > _longest(setting, subject):
            return NORMAL
        reason = Reason(Sign.LEVEL, subject.name, value, usual, None, drop.since_us)
        return self._found(0.8, (reason,), subject, tank, "low")

    def _level(self, subject: Look, tank: TankLook, setting: Mapping[str, float]) -> Finding:
        usual = subject.habits.day_high
        if not (subject.value < _LEVEL_LEFT * usual and usual >= _LEAST_LEVEL):
            return NORMAL
        low = _LEVEL_LEFT * usual
        drop = _drop(subject, lambda cell: cell > 0.5 * usual, lambda cell: cell < low)
        if drop is None or drop.minutes > _longest(setting, subject):
            return NORMAL
        reason = Reason(Sign.LEVEL, subject.name, subject.value, usual, None, drop.since_us)
        # Who changes water may empty the sump.
        sure = 0.7 if subject.end_us - drop.since_us >= _WATER_CHANGE_US else 0.4
        return self._found(sure, (reason,), subject, tank, "low")

    def _temperature(self, subject: Look, tank: TankLook, setting: Mapping[str, float]) -> Finding:
        low, high = _range(subject)
        value, least = subject.value, setting["least_drop_to_room"]
        if not (value < low - least or value > high + least):
            return NORMAL
        if tank.role_of(subject.name) == "room_temperature":
            return NORMAL
        is_low = value < low
        edge = low if is_low else high
        away = abs(value - edge)
        far = edge - _ROOM_SHARE * away if is_low else edge + _ROOM_SHARE * away
        near = 0.15 * away + 0.1
        drop = _drop(
            subject,
            lambda cell: low - near <= cell <= high + near,
            lambda cell: cell < far if is_low else cell > far,
        )
        if drop is None or drop.minutes > _longest(setting, subject):
            return NORMAL
        sure = 0.7 if away >= setting["least_drop"] else 0.35
        reasons = [Reason(Sign.BAND, subject.name, value, low, high, drop.since_us)]
        room = tank.known("room_temperature")
        if room is not None:
            gap = abs(value - room.value)
            agrees = gap < _NEAR_ROOM
            sure += 0.2 if agrees else -0.3 * ramp(gap, _NEAR_ROOM, _FAR_FROM_ROOM)
            reasons.append(Reason(Sign.ROOM, room.name, room.value, speaks_against=not agrees))
        return self._found(sure, tuple(reasons), subject, tank, "low" if is_low else "high")

    def _found(
        self, sure: float, reasons: tuple[Reason, ...], subject: Look, tank: TankLook, side: str
    ) -> Finding:
        explains = frozenset({f"{word_of(subject, tank)}_{side}", frozen(subject), scatter(subject)})
        return Finding(sure, reasons, explains, priority=subject.series.probe_priority)


def _usual(subject: Look) -> float:
    """What is usual now, or what was there three hours to a day ago."""
    band = subject.band
    return band.centre if band is not None else subject.habits.day_low


def _range(subject: Look) -> tuple[float, float]:
    band = subject.band
    if band is not None:
        return band.low, band.high
    return subject.habits.day_low, subject.habits.day_high


def _longest(setting: Mapping[str, float], subject: Look) -> float:
    """Minutes within which only air is so quick; what a series does not show it cannot be asked for."""
    return setting["longest_drop"] / MINUTE_US + 5.0 * max(0.0, subject.habits.interval_cells - 1.0)


def _drop(subject: Look, is_wet: Callable[[float], bool], is_dry: Callable[[float], bool]) -> Drop | None:
    """The way from the last cell that was wet to the first that was dry; None where there was none."""
    cells: Sequence[float] = subject.cells(_LOOK_BACK_MINUTES)
    first_dry = None
    for back, cell in enumerate(reversed(cells)):
        if is_dry(cell):
            first_dry = back
        elif is_wet(cell):
            if first_dry is None:
                return None
            return Drop(5.0 * (back - first_dry), subject.end_us - (first_dry + 1) * STEP_US)
    return None


FAULT = ProbeDry()
