"""What any baseline answers: the usual band at an instant, or why there is none yet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple, Protocol

from rules.blocks import FloatArray, IntArray

# A week shows every weekday once; fewer days would take one odd day for the rule.
DAYS_NEEDED = 7


class Band(NamedTuple):
    """The usual band at an instant and its centre, in the unit of the series."""

    low: float
    centre: float
    high: float


class Baseline(Protocol):
    """What the engine asks of any baseline."""

    def band_at(self, time_us: int) -> Band:
        """Return the usual band at an instant; constant within a quarter of an hour."""
        ...

    def expect(self, times_us: IntArray) -> tuple[FloatArray, FloatArray]:
        """Return the low and high edge of the usual band at instants, each of shape (n,); NaN: not known."""
        ...


@dataclass(frozen=True, slots=True)
class Learning:
    """There is no baseline yet: `days` whole days of `DAYS_NEEDED` are known."""

    days: int


@dataclass(frozen=True, slots=True)
class PoorFit:
    """A baseline was fitted and is not worth judging by.

    Parameters
    ----------
    reason
        "coverage": the band holds far less than it states, or "width": it is as wide as what the limits
        allow, or "skill": it says no more than that everything seen is usual.
    coverage
        Share of held-out values that the band held.
    half_width
        Median half width of the band, in the unit of the series.
    """

    reason: str
    coverage: float
    half_width: float
