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
from rules.faults.probe import SALT, frozen, scatter, water_moved, word_of
from rules.look import Look, TankLook
from rules.setup import HOUR_US
from rules.trace import MINUTE_US, STEP_US

_LOOK_BACK_MINUTES = 72 * 60
# Less of what was there is no water that a tank can hold. Next to nothing is air, and may come by way of a
# cell half in air, which shows half. To half alone no tank's water comes at once, but a tide may: it must be
# one step, and far more than this series ever jumps.
_SALT_LEFT = 0.4
_SALT_GONE = 0.1
_SALT_HALF = 0.65
_JUMPS_OF_WATER = 5.0
# Of a slow probe one reading alone may be a bad one.
_SLOW_CELLS = 1.5
_SALT_WET = 0.75
# What is no more than this has no salt to lose: sea water has 35, or 53 mS/cm; a river 0.3 mS/cm.
_LEAST_SALT = 2.0
_LEAST_CONDUCTIVITY = 0.1
# An open glass electrode floats about its zero point, a broken one goes to a rail (common practice, no
# source).
_PH_OPEN = (6.2, 7.5)
_PH_RAILS = (3.0, 12.0)
_PH_FALL = 0.65
_PH_AWAY = 0.5
_PH_WET = 0.25
_LEAST_PH = 7.5
# How much of the way to the room is gone within the time in which only air is so quick.
_ROOM_SHARE = 0.6
_NEAR_ROOM = 1.5
_FAR_FROM_ROOM = 3.0
# How sure it still is where other probes of the water moved, too.
_MOVED = 0.4
# A level that reads next to nothing, and what was there before (cm).
_LEVEL_LEFT = 0.05
_LEAST_LEVEL = 15.0
# At its own zero a level moves by no more than this for so long, whatever the water does. What goes well
# below zero is read against a datum, and zero is a level like any other.
_LEVEL_REST = 0.02
_REST_MINUTES = 45
_REST_READINGS = 3
_LEVEL_DATUM = -0.2
# An emptied sump is filled again within the time of a water change.
_WATER_CHANGE_US = HOUR_US


class Drop(NamedTuple):
    """How a series left the water: in how many minutes, since when, and how far it fell."""

    minutes: float
    since_us: int
    size: float


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
        Parameter(
            "on_delay", "duration", 15 * MINUTE_US, "it is cleaned or stands in a buffer for hardly more"
        ),
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
        band = subject.band
        usual = band.centre if band is not None else subject.habits.day_high
        half = _SALT_HALF * usual
        if not value < half:
            return NORMAL
        is_salinity = subject.series.quantity == "practical_salinity"
        if not usual >= (_LEAST_SALT if is_salinity else _LEAST_CONDUCTIVITY):
            return NORMAL
        is_half = value >= _SALT_LEFT * usual
        dry = half if is_half or value < _SALT_GONE * usual else _SALT_LEFT * usual
        drop = _drop(subject, setting, lambda cell: cell > _SALT_WET * usual, lambda cell: cell < dry)
        if drop is None or (is_half and not _is_beyond_water(drop, subject)):
            return NORMAL
        if is_half and water_moved(subject, tank, drop.since_us):
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
        if not (_PH_OPEN[0] < value < usual - _PH_AWAY and usual > _LEAST_PH):
            return NORMAL
        drop = _drop(
            subject, setting, lambda cell: cell > usual - _PH_WET, lambda cell: cell < usual - _PH_FALL
        )
        if drop is None:
            return NORMAL
        reason = Reason(Sign.LEVEL, subject.name, value, usual, None, drop.since_us)
        sure = _MOVED if water_moved(subject, tank, drop.since_us) else 0.8
        return self._found(sure, (reason,), subject, tank, "low")

    def _level(self, subject: Look, tank: TankLook, setting: Mapping[str, float]) -> Finding:
        usual = subject.habits.day_high
        low = _LEVEL_LEFT * usual
        if not (subject.value < low and usual >= _LEAST_LEVEL):
            return NORMAL
        if min(subject.value, subject.habits.day_low) < _LEVEL_DATUM * usual:
            return NORMAL
        drop = _drop(subject, setting, lambda cell: cell > 0.5 * usual, lambda cell: cell < low)
        if drop is not None:
            since_us = drop.since_us
            # Who changes water may empty the sump.
            sure = 0.7 if subject.end_us - since_us >= _WATER_CHANGE_US else 0.4
        else:
            # The water went slowly, and has come down to the probe's own zero. A sump or a reservoir is empty
            # itself then.
            if tank.role_of(subject.name) is not None:
                return NORMAL
            rest = max(_REST_MINUTES, round(5 * _REST_READINGS * subject.habits.interval_cells))
            if subject.span(rest) > _LEVEL_REST * usual:
                return NORMAL
            if any(not cell < low for cell in subject.cells(rest + 5) if cell == cell):
                return NORMAL
            since_us = subject.end_us - rest * MINUTE_US
            sure = 0.65
        reason = Reason(Sign.LEVEL, subject.name, subject.value, usual, None, since_us)
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
            setting,
            lambda cell: low - near <= cell <= high + near,
            lambda cell: cell < far if is_low else cell > far,
        )
        if drop is None:
            return NORMAL
        sure = 0.7 if away >= setting["least_drop"] else 0.35
        reasons = [Reason(Sign.BAND, subject.name, value, low, high, drop.since_us)]
        room = tank.known("room_temperature")
        if room is not None:
            gap = abs(value - room.value)
            agrees = gap < _NEAR_ROOM
            sure += 0.2 if agrees else -0.3 * ramp(gap, _NEAR_ROOM, _FAR_FROM_ROOM)
            reasons.append(Reason(Sign.ROOM, room.name, room.value, speaks_against=not agrees))
        if water_moved(subject, tank, drop.since_us):
            sure = min(sure, _MOVED)
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


def _drop(
    subject: Look,
    setting: Mapping[str, float],
    is_wet: Callable[[float], bool],
    is_dry: Callable[[float], bool],
) -> Drop | None:
    """The way from the last cell that was wet to the first that was dry; None for none, or a slow one."""
    cells: Sequence[float] = subject.cells(_LOOK_BACK_MINUTES)
    interval = subject.habits.interval_cells
    # What a series does not show it cannot be asked for.
    longest = setting["longest_drop"] / MINUTE_US + 5.0 * max(0.0, interval - 1.0)
    first_dry, readings, dry = 0, 0, 0.0
    for back, cell in enumerate(reversed(cells)):
        if is_dry(cell):
            first_dry, dry = back, cell
            readings += 1
        elif is_wet(cell):
            minutes = 5.0 * (back - first_dry)
            is_believed = readings > 1 or (readings == 1 and not interval >= _SLOW_CELLS)
            if not is_believed or minutes > longest:
                return None
            return Drop(minutes, subject.end_us - (first_dry + 1) * STEP_US, cell - dry)
    return None


def _is_beyond_water(drop: Drop, subject: Look) -> bool:
    """Whether a fall was one step, and far more than the water of this series moves from cell to cell."""
    if drop.minutes > 5.0 * max(1.0, subject.habits.interval_cells + 0.5):
        return False
    return drop.size > _JUMPS_OF_WATER * max(subject.hours.usual.greatest_jump, subject.noise_of_level)


FAULT = ProbeDry()
