"""Reactor off band: the effluent of a calcium reactor has left the pH at which it dissolves its medium.

Watches the pH of the effluent alone. Too low, and too much CO2 goes in: the medium turns to mud, and the
tank's pH follows. Too high, and the CO2 is lost: the bottle is empty, the valve shut or the flow too fast,
and alkalinity falls behind. What a probe does at once (a jump, air) is the probe's. Rivals: its probe drifts
or is dry. First: bubble rate and effluent flow; in doubt close the gas.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rules.events import Priority, Reason, Sign
from rules.faults.fault import NORMAL, Finding, Parameter, ramp
from rules.look import Look, TankLook
from rules.trace import MINUTE_US

TOO_HIGH = frozenset({"reactor_ph_high"})
TOO_LOW = frozenset({"reactor_ph_low"})
# Gas and water in a reactor of a few litres exchange within hours; a probe that is lifted jumps at once.
_JUMP_MINUTES = 10
_GREATEST_JUMP = 0.6


@dataclass(frozen=True, slots=True)
class ReactorOffBand:
    """See the module."""

    code: str = "reactor_off_band"
    roles: tuple[str, ...] = ("reactor_ph",)
    quantities: tuple[str, ...] = ()
    equipment: frozenset[str] = frozenset()
    hears_silence: bool = False
    priority: Priority = Priority.HIGH
    parameters: tuple[Parameter, ...] = (
        Parameter(
            "margin",
            "difference",
            0.12,
            "how far beyond the usual band of this hour; bubbles are counted no finer than that",
            "ph",
        ),
        Parameter(
            "lowest",
            "number",
            6.0,
            "pH at which the usual media fall apart; common practice, no source",
        ),
        Parameter(
            "highest",
            "number",
            7.3,
            "pH at which the usual media hardly dissolve; common practice, no source",
        ),
        Parameter("on_delay", "duration", 20 * MINUTE_US, "a bubble counter that hiccups is back by then"),
        Parameter("off_delay", "duration", 60 * MINUTE_US, "the effluent must be back for this long"),
    )

    def judge(self, subject: Look, tank: TankLook, setting: Mapping[str, float]) -> Finding | None:
        """See `Fault`."""
        del tank
        value = subject.value
        if value != value:
            return None
        band = subject.band
        if band is not None:
            low, high = band.low, band.high
        else:
            low, high = subject.habits.day_low, subject.habits.day_high
        margin = max(setting["margin"], 3.0 * subject.noise_of_level, 0.01)
        over, under = value - high, low - value
        # Off within half of the margin, on beyond the whole.
        beyond = max(over, under, 0.0)
        if value > setting["highest"] and not over <= 0.0:
            over = beyond = max(beyond, 2.0 * margin)
        elif value < setting["lowest"] and not under <= 0.0:
            under = beyond = max(beyond, 2.0 * margin)
        if beyond < margin / 2:
            return NORMAL
        is_high = over >= under
        sure = 0.25 + 0.25 * ramp(beyond, margin / 2, margin)
        if beyond >= margin:
            sure = 0.55 + 0.35 * ramp(beyond, margin, 3.0 * margin)
        if subject.is_flat or subject.span(_JUMP_MINUTES) > _GREATEST_JUMP:
            sure = min(sure, 0.4)
        known_low = low if low == low else setting["lowest"]
        known_high = high if high == high else setting["highest"]
        reasons = (
            Reason(Sign.BAND, subject.name, value, known_low, known_high),
            Reason(Sign.SLOPE, subject.name, subject.slope(60).median, window_us=60 * MINUTE_US),
        )
        return Finding(sure, reasons, TOO_HIGH if is_high else TOO_LOW)


FAULT = ReactorOffBand()
