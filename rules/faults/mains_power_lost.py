"""Mains power lost: boards fall silent together, or every power that is measured is zero at once.

Watches all series of a tank, the last wills of its boards and the powers. Boards on a battery go on telling
that nothing takes power; those without fall silent within a few minutes of one another. A network or broker
that is lost silences them just so, and from here the two cannot be told apart: the reason is silence, and
says no more. A feeding pause stops the return pump and nothing else. First: look whether there is light,
then at the fuse and the breaker.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rules.events import Priority, Reason, Sign
from rules.faults.fault import NORMAL, Finding, Parameter
from rules.look import Look, TankLook
from rules.roles import ROLES
from rules.setup import HOUR_US
from rules.trace import MINUTE_US, STEP_US

_POWERS = tuple(role for role in ROLES if role.endswith("_power"))
_FEWEST_SERIES = 2
# Boards that lose power together are last heard within their own intervals.
_TOGETHER_US = 6 * MINUTE_US
# A load that took less than this share of its greatest power of a day is off.
_OFF_SHARE = 0.05
# How far back two loads may have ended together.
_LOOK_BACK_MINUTES = 12 * 60
_TOGETHER_CELLS = 2
# Pumps stand for a feeding pause, and a heater may rest at that time; hands pull plugs for a water change.
_PAUSE_US = HOUR_US // 2


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
            11 * MINUTE_US,
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
        powers = [look for role in _POWERS if (look := tank.look(role)) is not None and look.is_fresh]
        used = [look for look in powers if look.habits.day_high > 0.0]
        if len(used) < 2 or any(look.value > _OFF_SHARE * look.habits.day_high for look in used):
            return NORMAL
        ended = [_off_cells(look) for look in used]
        if min(ended) == 0 or min(ended) >= _LOOK_BACK_MINUTES // 5:
            return NORMAL
        first = min(ended)
        together = sum(1 for cells in ended if cells <= first + _TOGETHER_CELLS)
        since_us = tank.end_us - first * STEP_US
        reasons = tuple(
            Reason(Sign.POWER, look.name, look.value, since_us=tank.end_us - cells * STEP_US)
            for look, cells in zip(used, ended, strict=True)
        )
        explains = frozenset({"temperature_low", "level_high", "powers_off"})
        concerns = tuple(look.name for look in used)
        for_us = tank.end_us - since_us
        if together >= 2:
            sure = 0.6 if for_us >= _PAUSE_US else 0.4
            if together >= 3:
                sure += 0.25
        else:
            # The others were at rest; that lasts longer than they ever rest.
            sure = 0.4
        return Finding(sure, reasons, explains, concerns)


def _interval_us(look: Look) -> int:
    return round(look.habits.interval_cells * STEP_US)


def _off_cells(look: Look) -> int:
    """For how many cells the load has been off."""
    limit = _OFF_SHARE * look.habits.day_high
    count = 0
    for back, cell in enumerate(reversed(look.cells(_LOOK_BACK_MINUTES)), start=1):
        if cell > limit:
            break
        count = back
    return count


FAULT = MainsPowerLost()
