"""Top-off failed: evaporation goes on, and nothing replaces it.

Watches the sump's level; salinity, the reservoir and the power of the pump make it surer, and tell a dead
pump, a blocked hose and an empty reservoir apart. The level falls through its lower mark as slowly as it
always falls between refills: 0.5 to 2 % of the volume a day. A water change falls within minutes; a leak
falls faster than evaporation. Rivals: a leak, a level probe that drifts. First: look at the reservoir, then
pump, hose and float.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rules.events import Priority, Reason, Sign
from rules.faults import intake, salinity, sump
from rules.faults.fault import NORMAL, Finding, Parameter, ramp
from rules.look import Look, TankLook
from rules.trace import MINUTE_US

EXPLAINS = frozenset({"level_low", "salinity_high"})
# Falls by so much of its full height at once: somebody took it, and the pump did not empty it.
_TAKEN_SHARE = 0.3


@dataclass(frozen=True, slots=True)
class TopOffFailed:
    """See the module."""

    code: str = "top_off_failed"
    roles: tuple[str, ...] = ("sump_level", "reservoir")
    quantities: tuple[str, ...] = ()
    equipment: frozenset[str] = frozenset({"top_off"})
    hears_silence: bool = False
    priority: Priority = Priority.HIGH
    parameters: tuple[Parameter, ...] = (
        Parameter(
            "margin",
            "difference",
            0.2,
            "how far below the mark at which it is usually refilled; waves and probes do less",
            "water_level",
        ),
        Parameter(
            "greatest_ratio",
            "number",
            2.5,
            "how many times faster than it usually falls is more than evaporation, in a warm draught too",
        ),
        Parameter(
            "empty_share",
            "number",
            0.04,
            "share of the reservoir's usual high below which its pump draws air",
        ),
        Parameter("on_delay", "duration", 20 * MINUTE_US, "it is slow; a late pump has caught up by then"),
        Parameter("off_delay", "duration", 30 * MINUTE_US, "the level must be held again for this long"),
    )

    def judge(self, subject: Look, tank: TankLook, setting: Mapping[str, float]) -> Finding | None:
        """See `Fault`."""
        del subject
        level, reservoir = tank.known("sump_level"), tank.known("reservoir")
        if level is None and reservoir is None:
            return None
        emptied = NORMAL if reservoir is None else self._by_reservoir(reservoir, setting)
        if level is None:
            return emptied
        usual = sump.usual_sump(level)
        margin = max(setting["margin"], 3.0 * level.noise_of_level, sump.LEAST_MARGIN)
        if not level.value < usual.low - margin / 2:
            return emptied
        found = self._by_level(level, usual, margin, tank, setting)
        return found if found.confidence >= emptied.confidence else emptied

    def _by_reservoir(self, reservoir: Look, setting: Mapping[str, float]) -> Finding:
        high = reservoir.habits.day_high
        empty = setting["empty_share"] * high
        if not reservoir.value < empty:
            return NORMAL
        minutes = sump.minutes_beyond(reservoir, empty, is_high=False)
        since_us = reservoir.end_us - minutes * MINUTE_US
        reasons = (Reason(Sign.LEVEL, reservoir.name, reservoir.value, empty, None, since_us),)
        explains = EXPLAINS | {f"{reservoir.name}_low"}
        if intake.draws_much(reservoir):
            # What a leak has emptied tells of the leak.
            return Finding(0.4, reasons, explains, (reservoir.name,))
        if minutes >= 60:
            return Finding(0.6, reasons, explains, (reservoir.name,))
        # Who cleans it, or lifts its probe, is done within the hour.
        is_taken = sump.greatest_step(reservoir, minutes + 30, is_rise=False) > _TAKEN_SHARE * high
        return Finding(0.4 if is_taken else 0.55, reasons, explains, (reservoir.name,), priority=Priority.LOW)

    def _by_level(
        self,
        level: Look,
        usual: sump.SumpUsual,
        margin: float,
        tank: TankLook,
        setting: Mapping[str, float],
    ) -> Finding:
        depth = usual.low - level.level(15)
        minutes = sump.minutes_beyond(level, usual.low, is_high=False)
        since_us = level.end_us - minutes * MINUTE_US
        reasons: tuple[Reason, ...] = (
            Reason(Sign.LEVEL, level.name, level.value, usual.low, usual.high, since_us),
            Reason(
                Sign.SLOPE, level.name, level.slope(120).median, -usual.evaporates, window_us=120 * MINUTE_US
            ),
        )
        # From the mark on, so that what comes after a fast fall is not taken for a slow one.
        ratio = depth / max(minutes, 30) * 60 / usual.evaporates
        recent = -level.slope(60).median / usual.evaporates
        fastest = setting["greatest_ratio"]
        jump = sump.greatest_step(level, minutes + 30, is_rise=False)
        is_slow = max(ratio, recent if recent == recent else 0.0) <= 1.3 * fastest
        if jump > max(0.6 * (depth + margin), 6.0 * level.noise_of_level) or sump.return_stands(tank):
            return Finding(0.2, reasons, EXPLAINS)
        sure = 0.25 + 0.25 * ramp(depth, margin / 2, margin)
        if depth >= margin:
            sure = 0.6 + 0.15 * ramp(depth, margin, 5.0 * margin)
        if not is_slow:
            sure = min(sure, 0.35)
        concerns = tuple(
            look.name for role in ("practical_salinity",) if (look := tank.look(role)) is not None
        )
        salt = tank.known("practical_salinity")
        if salt is not None:
            fall = salinity.salt_move(salt, is_fall=True)
            if (
                (fall.share >= 0.5 and fall.hours <= 4)
                or fall.share >= 0.8
                or salinity.limewater_raises_ph(tank)
            ):
                reasons += (
                    Reason(
                        Sign.CHANGE,
                        salt.name,
                        -fall.size,
                        window_us=fall.hours * 60 * MINUTE_US,
                        speaks_against=True,
                    ),
                )
                sure = min(sure, 0.4)
            else:
                rise = salinity.salt_move(salt, is_fall=False)
                if rise.share >= 0.7:
                    reasons += (
                        Reason(Sign.CHANGE, salt.name, rise.size, window_us=rise.hours * 60 * MINUTE_US),
                    )
                    sure = min(0.9, sure + 0.1) if is_slow else sure
        sure, more = self._of_pump(tank, minutes, setting, sure)
        return Finding(sure, (*reasons, *more), EXPLAINS, concerns)

    def _of_pump(
        self, tank: TankLook, minutes: int, setting: Mapping[str, float], sure: float
    ) -> tuple[float, tuple[Reason, ...]]:
        """What pump and reservoir add: dead, blocked, or nothing left to pump."""
        more: tuple[Reason, ...] = ()
        reservoir = tank.known("reservoir")
        gives: bool | None = None
        if reservoir is not None:
            high = reservoir.habits.day_high
            given = reservoir.level(15, min(minutes, 240)) - reservoir.level(15)
            gives = given > max(0.3, 4.0 * reservoir.noise_of_level)
            is_empty = reservoir.value < setting["empty_share"] * high
            if is_empty:
                more += (Reason(Sign.LEVEL, reservoir.name, reservoir.value, setting["empty_share"] * high),)
            else:
                more += (
                    Reason(
                        Sign.CHANGE,
                        reservoir.name,
                        -given,
                        window_us=min(minutes, 240) * MINUTE_US,
                        speaks_against=gives,
                    ),
                )
        power = tank.known("top_off_power")
        if power is not None:
            usual = intake.usual_pump(power)
            if usual.longest_run:
                runs = power.value > 0.3 * usual.runs_at
                more = (
                    Reason(Sign.POWER, power.name, power.value, usual.runs_at if not runs else None),
                    *more,
                )
                if sure >= 0.5 and not gives:
                    sure = max(sure, 0.9)
        if sure >= 0.5 and gives is False:
            sure = max(sure, 0.85)
        if gives:
            sure = min(sure, 0.4)
        return sure, more


FAULT = TopOffFailed()
