"""Leak: salt water leaves the tank, and what comes in its place, if anything, is fresh.

Watches level, salinity, reservoir and floor contact. With a top-off that keeps up the level stays where it
is, salinity falls steadily, and more comes in than evaporation takes; where it cannot keep up, or there is
none, the level falls faster than it usually does. A wet floor contact is a leak at once. A water change
falls within minutes and is over within the hour; a calibration is one step. Rivals: an overdose (the level
rises), a salinity probe that drifts (nothing else moves), a dead top-off (the level falls slowly). First:
look at the floor.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rules import floor_contact
from rules.events import Priority, Reason, Sign
from rules.faults import intake, salinity, sump
from rules.faults.fault import NORMAL, Finding, Parameter, ramp
from rules.look import Look, TankLook
from rules.setup import HOUR_US
from rules.trace import MINUTE_US, NAN

EXPLAINS = frozenset({"level_low", "salinity_low"})
# A water change takes water out for twenty minutes, and is over within the hour: so long as that the level
# must go on falling, and what has fallen for less is told by the on-delay.
_LEAST_DRAINING = 15
_LONGEST_CHANGE = 75
# A fan that comes on in the afternoon doubles evaporation for some hours.
_FAN_RATIO = 2.2
# How far salinity alone must fall, in what a healthy probe wanders by.
_SALT_ALONE = 1.25


@dataclass(frozen=True, slots=True)
class Leak:
    """See the module."""

    code: str = "leak"
    roles: tuple[str, ...] = ("sump_level", "practical_salinity")
    quantities: tuple[str, ...] = ()
    equipment: frozenset[str] = frozenset()
    hears_silence: bool = False
    priority: Priority = Priority.URGENT
    parameters: tuple[Parameter, ...] = (
        Parameter(
            "margin",
            "difference",
            0.25,
            "how far below the lowest usual level; waves and probes do less",
            "water_level",
        ),
        Parameter(
            "least_ratio",
            "number",
            2.5,
            "how many times faster than usual the level must fall through a top-off's mark",
        ),
        Parameter(
            "least_ratio_by_hand",
            "number",
            1.4,
            "the same where no top-off blurs it: evaporation itself changes by a tenth from day to day",
        ),
        Parameter("on_delay", "duration", 15 * MINUTE_US, "hands in the sump are out of it by then"),
        Parameter(
            "off_delay",
            "duration",
            3 * HOUR_US,
            "level and salinity must be held for this long; a slow one shows by refills that lie hours apart",
        ),
    )

    def judge(self, subject: Look, tank: TankLook, setting: Mapping[str, float]) -> Finding | None:
        """See `Fault`."""
        del subject
        contact = tank.look("floor_contact")
        if contact is not None:
            wet = _wet(contact)
            if wet is not None:
                return Finding(floor_contact.CONFIDENCE, (wet,), EXPLAINS, (contact.name,))
        level, salt = tank.known("sump_level"), tank.known("practical_salinity")
        if level is None and salt is None:
            return None
        found = NORMAL
        is_above = False
        if level is not None:
            usual = sump.usual_sump(level)
            margin = max(setting["margin"], 3.0 * level.noise_of_level, sump.LEAST_MARGIN)
            is_above = level.value > usual.high + margin
            if level.value < usual.low - margin / 2:
                found = self._by_level(level, usual, margin, salt, tank, setting)
        if tank.has("top_off") and not is_above:
            other = self._by_replacement(level, salt, tank)
            if other.confidence > found.confidence:
                found = other
        return found

    def _by_level(
        self,
        level: Look,
        usual: sump.SumpUsual,
        margin: float,
        salt: Look | None,
        tank: TankLook,
        setting: Mapping[str, float],
    ) -> Finding:
        depth = usual.low - level.level(15)
        minutes = sump.minutes_beyond(level, usual.low, is_high=False)
        since_us = level.end_us - minutes * MINUTE_US
        recent = -level.slope(60 if minutes >= 60 else 30).median
        is_filled = tank.has("top_off")
        falls = usual.evaporates if is_filled else max(usual.sinks, 0.02)
        reasons: tuple[Reason, ...] = (
            Reason(Sign.LEVEL, level.name, level.value, usual.low, usual.high, since_us),
            Reason(Sign.SLOPE, level.name, -recent, -falls, window_us=60 * MINUTE_US),
        )
        jump = sump.greatest_step(level, minutes + 30, is_rise=False)
        if jump > max(0.6 * (depth + margin), 6.0 * level.noise_of_level) or sump.return_stands(tank):
            return Finding(0.2, reasons, EXPLAINS)
        concerns = () if salt is None else (salt.name,)
        mean = depth / max(minutes, 30) * 60
        if is_filled:
            least = max(setting["least_ratio"], 1.0)
            ratio = max(recent, mean) / falls
            fall = salinity.NO_MOVE if salt is None else salinity.salt_move(salt, is_fall=True)
            if salt is not None and fall.share >= 0.5 and fall.hours <= 4:
                # It falls although fresh water comes in.
                reasons += (Reason(Sign.CHANGE, salt.name, -fall.size, window_us=fall.hours * HOUR_US),)
                ratio = max(ratio, least * min(1.5, 0.6 + fall.share))
        else:
            least = max(setting["least_ratio_by_hand"], 1.0)
            if tank.has("fan"):
                least = max(least, _FAN_RATIO)
            # By half a day, too, which holds nothing that a hand brought just before it fills up again.
            ratio = (
                min(-level.change(minutes_ago, over=30) / minutes_ago * 60 for minutes_ago in (360, 720))
                / falls
            )
        if depth < margin or minutes < _LEAST_DRAINING:
            return Finding(0.3, reasons, EXPLAINS, concerns)
        if not ratio >= least:
            sure = 0.15 + 0.25 * ramp(ratio, 0.5 * least, least)
            return Finding(sure, reasons, EXPLAINS, concerns)
        if minutes < _LONGEST_CHANGE and -level.change(10, over=5) < max(
            0.1 * mean / 2, level.noise_of_level
        ):
            # A water change, whose water is out, or comes in.
            return Finding(0.4, reasons, EXPLAINS, concerns)
        sure = 0.6 + 0.25 * ramp(ratio, least, 3.0 * least)
        return Finding(sure, reasons, EXPLAINS, concerns)

    def _by_replacement(self, level: Look | None, salt: Look | None, tank: TankLook) -> Finding:
        """Salt water out and fresh water in: the balance of salt, and how much was replaced."""
        reservoir = tank.known("reservoir")
        fall = salinity.NO_MOVE if salt is None else salinity.salt_move(salt, is_fall=True)
        intakes: tuple[intake.Intake, ...] = ()
        if reservoir is not None:
            intakes = intake.intakes(reservoir, level, has_fan=tank.has("fan"))
        most = max(intakes, key=lambda one: one.share, default=intake.NO_INTAKE)
        if fall.share < 0.25 and most.share < 0.6:
            return NORMAL
        reasons: tuple[Reason, ...] = ()
        concerns: tuple[str, ...] = ()
        if salt is not None:
            concerns += (salt.name,)
            if fall.share >= 0.2:
                reasons += (Reason(Sign.CHANGE, salt.name, -fall.size, window_us=fall.hours * HOUR_US),)
        ratio, is_disturbed, is_refilled = sump.NO_RATIO, False, False
        if level is not None:
            usual = sump.usual_sump(level)
            reasons += (Reason(Sign.LEVEL, level.name, level.value, usual.low, usual.high),)
            if fall.hours >= 16:
                ratio = ratio._replace(falls=sump.fall_ratio_of_a_day(level, usual))
            elif fall.share >= 0.5:
                ratio = sump.fall_ratio(level, usual, fall.hours)
                asked = 1.0 + fall.size / fall.hours * 24.0 / 35.0 / salinity.GREATEST_USUAL_SHARE
                if not usual.shows(asked):
                    ratio = ratio._replace(falls=NAN if ratio.falls < 1.3 else ratio.falls)
            # A refill dilutes a small tank by itself.
            is_refilled = (
                fall.hours <= 4
                and level.level(15) - level.level(15, 60 * fall.hours) > 0.4 * (usual.high - usual.low)
                and salt is not None
                and not salinity.is_below_usual(salt, 0.05)
            )
            is_disturbed = is_refilled or sump.was_disturbed(level, usual, 60 * min(fall.hours, 4) + 90)
        if ratio.falls != ratio.falls and intakes and fall.hours >= 8:
            # The reservoir tells it less finely than a level that falls between marks far apart.
            day = intakes[-1]
            ratio = ratio._replace(falls=day.ratio if day.share >= 0.5 else min(day.ratio, 1.1))
        sure, is_slow = self._by_salt(fall, ratio, salt, has_fan=tank.has("fan"))
        if is_disturbed and fall.hours <= 4 and (fall.share < 1.6 or is_refilled):
            sure = min(sure, 0.4)
        elif fall.share >= 0.5 and salinity.limewater_raises_ph(tank):
            sure, is_slow = max(sure, 0.6 + 0.25 * ramp(fall.share, 0.5, 1.2)), False
        if tank.has("limewater_stirrer") and (ph := tank.known("ph")) is not None:
            concerns += (ph.name,)
        if reservoir is not None and intakes:
            concerns += (reservoir.name,)
            reasons += (
                Reason(Sign.CHANGE, reservoir.name, -most.size, -most.usual, window_us=most.hours * HOUR_US),
            )
            if is_disturbed and most.hours <= 4:
                most = most._replace(share=0.5 * most.share)
            sure = self._with_intake(sure, fall, most, intakes, salt, tank)
            is_slow = is_slow and most.share < 1.0
        return Finding(
            sure, reasons, EXPLAINS, concerns, priority=Priority.HIGH if is_slow and sure < 0.8 else None
        )

    def _by_salt(
        self, fall: salinity.SaltMove, ratio: sump.FallRatio, salt: Look | None, *, has_fan: bool
    ) -> tuple[float, bool]:
        """How sure salinity and level are, and whether nothing hurries: a salinity probe can do the same."""
        is_slow = True
        if salt is None or fall.share < 0.25:
            return 0.0, is_slow
        # Evaporation takes 2 % of the volume a day at most, so a leak shows in the level at least so much.
        a_day = fall.size / salt.value * 24.0 / fall.hours
        asked = 1.0 + 0.4 * a_day / salinity.GREATEST_USUAL_SHARE
        least = 1.3 if fall.hours >= 16 else _FAN_RATIO if has_fan else 1.5
        shows = ratio.falls >= least or ratio.is_slipping
        hides = ratio.falls < min(asked, 1.25) and not ratio.slips >= 1.25
        if fall.hours >= 16:
            # Both together over a day: neither is sure alone.
            score = (ratio.falls - 1.0) / 0.12 + min(fall.size / 0.25, 1.2)
            least = 1.8 if has_fan else 1.18
            if score >= 2.7 and ratio.falls >= least and fall.size >= 0.06:
                return 0.55 + 0.3 * ramp(score, 2.7, 5.0), is_slow
        if shows and fall.share >= 0.6:
            return 0.6 + 0.3 * ramp(fall.share, 0.6, 1.5), fall.hours >= 8
        if fall.share < _SALT_ALONE:
            return 0.15 + 0.25 * ramp(fall.share, 0.5, _SALT_ALONE), is_slow
        sure = 0.55 + 0.2 * ramp(fall.share, _SALT_ALONE, 2.0)
        return (0.35 if hides else sure), is_slow

    def _with_intake(
        self,
        sure: float,
        fall: salinity.SaltMove,
        most: intake.Intake,
        intakes: Sequence[intake.Intake],
        salt: Look | None,
        tank: TankLook,
    ) -> float:
        """The same with what the tank took."""
        volume = tank.rules.volume_litres
        if salt is not None and fall.share >= 0.2:
            near = min(intakes, key=lambda one: abs(one.hours - fall.hours))
            if volume is not None:
                lost = fall.size / salt.value * volume * near.hours / max(fall.hours, near.hours)
                is_missed = near.size - near.usual < 0.4 * lost
            else:
                asked = 1.0 + 0.4 * fall.size / salt.value * 24.0 / fall.hours / salinity.GREATEST_USUAL_SHARE
                is_missed = near.ratio < min(asked, 1.25)
            if is_missed and near.share < 0.5:
                # Salinity falls, and no more than usual came in: the probe.
                return min(sure, 0.4)
        if salt is not None and volume is not None:
            asked = salt.value * (most.size - most.usual) / volume
            if asked > 1.2 * salinity.wander(most.hours) and fall.share < 0.3:
                # It was evaporation after all: salt did not leave.
                return min(sure, 0.3)
        if most.share >= 1.0:
            sure = max(sure, 0.6 + 0.2 * ramp(most.share, 1.0, 2.5))
            return min(0.95, sure + 0.15 * ramp(fall.share, 0.3, 1.0))
        return max(sure, 0.3 + 0.4 * ramp(fall.share, 0.3, 0.8) * ramp(most.share, 0.4, 0.9))


def _wet(contact: Look) -> Reason | None:
    """The last word of a floor contact, where it is that of a wet one; it counts until the next."""
    if contact.value == contact.value and not floor_contact.is_wet(contact.series, contact.value):
        return None
    for value in reversed(contact.cells(sump.LOOK_BACK_MINUTES)):
        if value == value:
            if floor_contact.is_wet(contact.series, value):
                return Reason(Sign.CONTACT, contact.name, value, since_us=contact.last_us)
            return None
    return None


FAULT = Leak()
