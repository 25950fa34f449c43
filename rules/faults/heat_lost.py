"""Water that is colder than its heater lets it be: what do all faults of heat lost see?"""

from __future__ import annotations

from typing import NamedTuple

from rules.faults.heat import (
    Doubt,
    Usual,
    hours_beyond,
    margin_of,
    says_second_probe,
    steps_since,
    switching,
    turns_up,
    usual,
    working,
)
from rules.faults.return_pump import return_stands
from rules.look import Look, TankLook
from rules.trace import MINUTE_US
from rules.trend import relaxing

# Above yesterday's lowest temperature by more than this nothing is looked at: it costs nothing to say so.
_GATE = 0.1
# With a cooler the water lies a degree or more above where heating sets in, and the heater rests for months.
_COOLED_GAP = 1.2
_LEAST_MARGIN_OF_REST = 0.08
# Where the power speaks, too, temperature need not say it alone.
_NOISES_OF_REST = 3.5
# Water that has not become colder for six hours has found its heater again, or another setpoint.
_SETTLED_MINUTES = 360
_SETTLED_CHANGE = -0.05
# While the return pump stands a cold probe is a matter of the pump, and the heater a rival.
_LEFT_WHERE_NOTHING_FLOWS = 0.5
# A heater has turned the water several times in so long.
_TURNING_MINUTES = 720
# Once is a lamp that came on.
_TURNS_OF_HEATER = 2


class Cold(NamedTuple):
    """Colder water at one step.

    Parameters
    ----------
    usual
        What the water usually does.
    falls
        How fast it falls by now without heat, degC/h: the nearer to the room, the slower.
    depth, margin
        How far below where heating sets in without what came in steps, and how far it must be, degC.
    hours, since_us
        For how long, and since when.
    is_plausible
        Whether water can cool so far in that time.
    lingering
        Confidence where it is cold and falls no more.
    power
        The heater's power where it is known and its switching, too; else None.
    full, share
        What the heater takes at full power, W, and which share of it now.
    rest
        How far the water lies below where the heater sets in, in margins of its own; NaN: not known.
    doubts
        What speaks against it: a second probe, or a return pump that stands, for then the probe may not be
        where the heater is.
    """

    usual: Usual
    falls: float
    depth: float
    margin: float
    hours: float
    since_us: int
    is_plausible: bool
    lingering: float
    power: Look | None
    full: float
    share: float
    rest: float
    doubts: tuple[Doubt, ...]


def see_cold(subject: Look, tank: TankLook, least_margin: float, greatest_rate: float) -> Cold | None:
    """Return what is seen of colder water; None for nothing."""
    value = subject.value
    if not (value < subject.habits.day_low + _GATE or subject.below_usual() > 0.0):
        return None
    known = usual(subject)
    if known is None:
        return None
    power = tank.known("heater_power")
    switched = None if power is None else switching(subject, power, warms=True)
    if power is None or switched is None:
        power = None
        full = share = rest = 0.0
        if tank.has("chiller") or tank.has("fan"):
            known = known._replace(low=known.low - _COOLED_GAP)
    else:
        full = switched.full
        share = working(power, full)
        rest = (switched.on_at - value) / margin_of(subject, _LEAST_MARGIN_OF_REST, _NOISES_OF_REST)
    margin = margin_of(subject, least_margin)
    depth = known.low - value
    if depth <= 0.0 and not rest > 0.0:
        return None
    hours = hours_beyond(subject, known.low, -1)
    change = subject.change(_SETTLED_MINUTES)
    if power is None:
        turns = sorted(turns_up(subject, _TURNING_MINUTES))
        if len(turns) >= _TURNS_OF_HEATER and value >= turns[_TURNS_OF_HEATER - 1] - margin / 2:
            # No colder than from where the heater has turned it today: it works at another setpoint, or the
            # probe drifts.
            return None
        if len(turns_up(subject, min(_SETTLED_MINUTES, round(hours * 60)))) >= _TURNS_OF_HEATER:
            return None
    # What came at once (a water change, a probe in air) is not what a heater lost: that must outweigh it.
    depth -= 2.0 * steps_since(subject, hours, -1, greatest_rate)
    cools = relaxing(tank)
    against, pump = says_second_probe(subject, tank), return_stands(tank)
    stands = None if pump is None else Doubt(pump, _LEFT_WHERE_NOTHING_FLOWS)
    return Cold(
        known,
        known.falls if cools is None else min(known.falls / 4, known.falls + (known.low - value) / cools[0]),
        depth,
        margin,
        hours,
        subject.end_us - round(hours * 60) * MINUTE_US,
        depth <= greatest_rate * hours + margin,
        0.0 if change >= _SETTLED_CHANGE else 0.3,
        power,
        full,
        share,
        rest,
        tuple(doubt for doubt in (against, stands) if doubt is not None),
    )
