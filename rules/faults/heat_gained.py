"""Water that is warmer than it usually becomes: what do all faults of heat gained see?"""

from __future__ import annotations

from typing import NamedTuple

from rules.faults.heat import (
    Doubt,
    Usual,
    hours_beyond,
    margin_of,
    says_second_probe,
    slope_over,
    steps_since,
    usual,
)
from rules.look import Look, TankLook
from rules.trace import MINUTE_US

# A probe that was moved shows up to so much more or less than the day before (common practice, no source).
_LEAST_MARGIN_OF_SWITCH = 0.09
# Where the power speaks, too, temperature need not say it alone.
_NOISES_OF_SWITCH = 2.0


class Warm(NamedTuple):
    """Warmer water at one step.

    Parameters
    ----------
    usual
        What the water usually does.
    height, margin
        How far above where the water usually ends its rise without what came in steps, and how far it must
        be, degC.
    above_hour
        How far above the usual band of this hour; NaN while learning.
    hours, since_us
        For how long, and since when.
    excess
        By how much it rises faster than is usual at this hour, degC/h.
    is_plausible
        Whether water can warm so far in that time.
    doubts
        What speaks against it: a second probe.
    """

    usual: Usual
    height: float
    margin: float
    above_hour: float
    hours: float
    since_us: int
    excess: float
    is_plausible: bool
    doubts: tuple[Doubt, ...]


def see_warm(subject: Look, tank: TankLook, least_margin: float, greatest_rate: float) -> Warm | None:
    """Return what is seen of warmer water; None for nothing."""
    value = subject.value
    above_hour = subject.above_usual()
    if not (value > subject.habits.day_high or above_hour > 0.0):
        return None
    known = usual(subject)
    if known is None:
        return None
    margin = margin_of(subject, least_margin)
    hours = hours_beyond(subject, known.high, +1)
    height = value - known.high - 2.0 * steps_since(subject, hours, +1, greatest_rate)
    band, before = subject.band, subject.band_before(60)
    hour = slope_over(subject, 60).median
    against = says_second_probe(subject, tank)
    excess = hour if band is None or before is None else hour - (band.centre - before.centre)
    return Warm(
        known,
        height,
        margin,
        above_hour,
        hours,
        subject.end_us - round(hours * 60) * MINUTE_US,
        excess,
        height <= greatest_rate * hours + margin,
        () if against is None else (against,),
    )


def beyond(subject: Look, edge: float) -> float:
    """How far the water lies above an edge, in margins of its own."""
    return (subject.value - edge) / margin_of(subject, _LEAST_MARGIN_OF_SWITCH, _NOISES_OF_SWITCH)
