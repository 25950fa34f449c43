"""Mains power lost: boards fall silent together, or every power that is measured is zero at once.

Watches all series of a tank, the last wills of its boards and the powers. Boards on a battery go on telling
that nothing takes power; those without fall silent within a few minutes of one another. A network or broker
that is lost silences them just so, and from here the two cannot be told apart: the reason is silence, and
says no more. A feeding pause stops the return pump and nothing else, while heater and top-off may happen to
rest: only what was cut off in its work, or rests longer than it ever does, tells of the mains. First: look
whether there is light, then at the fuse and the breaker.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from types import MappingProxyType
from typing import NamedTuple

from rules.events import Priority, Reason, Sign
from rules.faults.fault import NORMAL, Finding, Parameter
from rules.faults.heat import margin_of, switching
from rules.look import Look, TankLook
from rules.roles import ROLES
from rules.setup import HOUR_US
from rules.trace import LOOK_BACK_CELLS, MINUTE_US, STEP_US

_POWERS = tuple(role for role in ROLES if role.endswith("_power"))
_FEWEST_SERIES = 2
# Boards that lose power together are last heard within their own intervals.
_TOGETHER_US = 6 * MINUTE_US
# A load that took less than this share of its greatest power of a day is off.
_OFF_SHARE = 0.05
_LOOK_BACK_MINUTES = LOOK_BACK_CELLS * STEP_US // MINUTE_US
_TOGETHER_CELLS = 2
# So many times its longest rest of three days is longer than it ever rests.
_OVERDUE = 1.25
# Who changes water may pull two plugs at once, and is done by then; nobody pulls three.
_PAUSE_US = 45 * MINUTE_US
# How sure it is while loads merely rest at the same time: a rival of a stopped pump.
_RESTING = 0.35
# Loads that a thermostat switches, and whether they warm.
_WARMS = MappingProxyType({"heater_power": True, "chiller_power": False, "fan_power": False})
# A thermostat's own doubt, degC.
_LEAST_MISSING = 0.05
_EXPLAINS = frozenset({"temperature_low", "level_high", "powers_off"})


@dataclass(frozen=True, slots=True)
class MainsPowerLost:
    """See the module."""

    code: str = "mains_power_lost"
    roles: tuple[str, ...] = ("temperature", "sump_level", "ph", "practical_salinity", "return_pump_power")
    quantities: tuple[str, ...] = ()
    equipment: frozenset[str] = frozenset()
    hears_silence: bool = True
    priority: Priority = Priority.URGENT
    parameters: tuple[Parameter, ...] = (
        Parameter(
            "silence",
            "duration",
            15 * MINUTE_US,
            "how long everything must be silent without a word of the boards; a network is back sooner",
        ),
        Parameter("on_delay", "duration", 0, "silence is a delay in itself"),
        Parameter("off_delay", "duration", 5 * MINUTE_US, "power that comes and goes is not back"),
    )

    def judge(self, subject: Look, tank: TankLook, setting: Mapping[str, float]) -> Finding | None:
        """See `Fault`."""
        if subject.is_fresh:
            return self._by_powers(tank)
        if tank.listening_from_us is None:
            return None
        return self._by_silence(tank, setting)

    def _by_silence(self, tank: TankLook, setting: Mapping[str, float]) -> Finding | None:
        # Of a series that was only just heard for the first time nothing is known yet.
        looks = tuple(
            look for look in tank.series.values() if look.habits.interval_cells == look.habits.interval_cells
        )
        if len(looks) < _FEWEST_SERIES or any(look.is_fresh for look in looks):
            # Something still speaks: not everything lost its power.
            return NORMAL
        last_us = max(look.last_us for look in looks)
        since_us = tank.listening_from_us
        silent_us = tank.end_us - (max(last_us, since_us) if since_us else last_us)
        expected_us = max(_interval_us(look) for look in looks)
        if silent_us < 1.5 * expected_us:
            return None
        if any(last_us - look.last_us > _TOGETHER_US + _interval_us(look) for look in looks):
            # What was lost before does not count, if enough fell silent together.
            together = [look for look in looks if last_us - look.last_us <= _TOGETHER_US + _interval_us(look)]
            if 2 * len(together) < len(looks) or len(together) < _FEWEST_SERIES:
                return NORMAL
        reasons = tuple(
            Reason(Sign.SILENCE, look.name, silent_us / HOUR_US, since_us=look.last_us) for look in looks[:3]
        )
        offline = tank.boards_offline
        concerns = tuple(look.name for look in looks)
        explains = frozenset(f"{look.name}_silent" for look in looks)
        told = {name for series, _ in offline.values() for name in series}
        if offline and told >= {look.name for look in looks}:
            # One board alone is more likely a board.
            sure = 0.75 if len(offline) > 1 else 0.4
            return Finding(sure, reasons, explains, concerns)
        if silent_us >= max(setting["silence"], 2.5 * expected_us):
            return Finding(0.55, reasons, explains, concerns)
        return Finding(0.3, reasons, explains, concerns)

    def _by_powers(self, tank: TankLook) -> Finding:
        loads = [(role, look) for role in _POWERS if (look := tank.look(role)) is not None and look.is_fresh]
        used = [(role, look) for role, look in loads if look.habits.day_high > 0.0]
        if len(used) < 2 or any(look.value > _OFF_SHARE * look.habits.day_high for _, look in used):
            return NORMAL
        rests = [_rest(role, look, tank) for role, look in used]
        first = min(rest.cells for rest in rests)
        if first == 0 or first >= LOOK_BACK_CELLS:
            return NORMAL
        # What a thermostat or a float has switched off itself tells nothing.
        cut = sum(rest.is_cut and rest.cells <= first + _TOGETHER_CELLS for rest in rests)
        overdue = sum(rest.is_overdue for rest in rests)
        for_us = first * STEP_US
        sure = _RESTING
        if overdue >= 2:
            sure = 0.9
        elif cut >= 3:
            sure = 0.9 if for_us >= 2 * STEP_US else _RESTING
        elif cut == 2:
            sure = 0.8 if for_us >= _PAUSE_US else _RESTING
        reasons = tuple(
            Reason(Sign.POWER, look.name, look.value, since_us=tank.end_us - rest.cells * STEP_US)
            for (_, look), rest in zip(used, rests, strict=True)
        )
        return Finding(sure, reasons, _EXPLAINS, tuple(look.name for _, look in used))


class _Rest(NamedTuple):
    """For how many cells a load has been off, whether something cut it off, and whether it should be on."""

    cells: int
    is_cut: bool
    is_overdue: bool


def _interval_us(look: Look) -> int:
    return round(look.habits.interval_cells * STEP_US)


def _rest(role: str, look: Look, tank: TankLook) -> _Rest:
    limit = _OFF_SHARE * look.habits.day_high
    # A hole in the readings ends nothing.
    runs = [
        (is_on, sum(1 for _ in cells))
        for is_on, cells in groupby(look.cells(_LOOK_BACK_MINUTES), lambda cell: cell > limit)
    ]
    if runs[-1][0]:
        return _Rest(0, False, False)
    count = runs[-1][1]
    longest = max((cells for is_on, cells in runs[:-1] if not is_on), default=0)
    is_overdue = len(runs) > 1 and count > _OVERDUE * longest + _TOGETHER_CELLS
    if role not in _WARMS:
        # A pump for the return runs always; one for the top-off goes off by its float.
        return _Rest(count, role == "return_pump_power", is_overdue)
    water, second = tank.known("temperature"), tank.known("temperature_2")
    switched = None if water is None else switching(water, look, warms=_WARMS[role])
    if water is None or switched is None or switched.off_at != switched.off_at:
        return _Rest(count, False, is_overdue)
    sign = 1.0 if _WARMS[role] else -1.0
    margin = margin_of(water, _LEAST_MISSING, 3.0)
    # Where nothing moves the water it is warm or cold beside the thermostat, and a probe may hang elsewhere.
    ended = [
        sign * cell
        for probe in (water, second)
        if probe is not None
        for cell in _around(probe.cells(_LOOK_BACK_MINUTES), count)
        if cell == cell
    ]
    is_cut = bool(ended) and sign * switched.off_at - max(ended) > margin
    if second is not None and not is_overdue:
        is_overdue = min(sign * (switched.on_at - probe.value) for probe in (water, second)) > margin
    return _Rest(count, is_cut, is_overdue)


def _around(cells: Sequence[float], count: int) -> Sequence[float]:
    """The last cell before `count` cells at the end, and the first of these."""
    end = len(cells) - count
    return cells[max(0, end - 1) : end + 1]


FAULT = MainsPowerLost()
