"""Multi-variate test: has a series jumped while a related quantity of the same water stood still?

A jump of pH without one of temperature, level or salinity is more likely the probe's than the water's.
"""

from __future__ import annotations

from collections.abc import Sequence

from rules.flags import Flag
from rules.quality.movement import moved_alone
from rules.setup import CompanionLimits


def multivariate(own: Sequence[float], companion: Sequence[float], limits: CompanionLimits) -> Flag:
    """Judge the newest five-minute cell of a series beside a companion of another quantity. QARTOD test 9.

    It is judged at a step of the tank, when both cells are closed: the medians of both traces
    (`Trace.medians`, shortened to the same newest step) go in, and every reading of `own` in the newest cell
    that has been stored gets the flag by a `FlagRevised`, its packed flags with
    `int(flag) << SHIFT["multivariate"]` added where the flag is not PASS. So a reading carries no bits of
    this test until its cell is judged, and a flag that was given is never changed.

    See `rules.quality.movement.moved_alone` for parameters and result.
    """
    return moved_alone(own, companion, limits)
