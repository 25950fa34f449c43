"""Rates with their intervals: how far may the true rate be from what was counted?"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy import stats

_Z = 1.959963984540054


@dataclass(frozen=True, slots=True)
class Share:
    """`count` of `total`, with Wilson's score interval of 95 % (Wilson 1927)."""

    count: int
    total: int

    @property
    def value(self) -> float:
        return self.count / self.total if self.total else math.nan

    def interval(self) -> tuple[float, float]:
        n = self.total
        if not n:
            return 0.0, 1.0
        p, z2 = self.value, _Z * _Z
        middle = (p + z2 / (2 * n)) / (1 + z2 / n)
        half = _Z / (1 + z2 / n) * math.sqrt(p * (1 - p) / n + z2 / (4 * n * n))
        return max(0.0, middle - half), min(1.0, middle + half)

    def __str__(self) -> str:
        if not self.total:
            return "-"
        low, high = self.interval()
        return f"{100 * self.value:.1f} ({100 * low:.0f}-{100 * high:.0f})"


@dataclass(frozen=True, slots=True)
class Rate:
    """`count` events over `months`, with the exact Poisson interval of 95 % (Garwood 1936)."""

    count: int
    months: float

    @property
    def value(self) -> float:
        return self.count / self.months if self.months else math.nan

    def interval(self) -> tuple[float, float]:
        low = stats.chi2.ppf(0.025, 2 * self.count) / 2 if self.count else 0.0
        high = stats.chi2.ppf(0.975, 2 * self.count + 2) / 2
        return low / self.months, high / self.months

    def __str__(self) -> str:
        if not self.months:
            return "-"
        low, high = self.interval()
        return f"{self.value:.2f} ({low:.2f}-{high:.2f})"
