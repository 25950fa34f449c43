"""Neighbour test: has one of two probes of the same quantity moved while the other did not?

Two temperature probes in one water part company when one of them dries, slips or fails.
"""

from __future__ import annotations

from collections.abc import Sequence

from rules.flags import Flag
from rules.quality.movement import moved_alone
from rules.setup import CompanionLimits


def neighbor(own: Sequence[float], companion: Sequence[float], limits: CompanionLimits) -> Flag:
    """Judge the newest five-minute cell of a probe beside one of the same quantity. QARTOD test 11.

    Wired as `rules.quality.multivariate.multivariate` says, with `SHIFT["neighbor"]`. The one that moved is
    SUSPECT; its neighbour has limits of its own, or none. No fail level. A slow drift apart moves neither
    in five minutes: that is the business of the fault `probe_drifting`.

    See `rules.quality.movement.moved_alone` for parameters and result.
    """
    return moved_alone(own, companion, limits)
