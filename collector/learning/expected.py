"""What was usual then: the band of a series over any time, by what had been learned of it at each instant."""

# ruff: noqa: D102 (what the fields are is in the docstring of their class)

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, Protocol

import numpy as np

from collector.learning.recorded import Standing, baseline_of, from_data
from rules import Baseline, FloatArray, IntArray

# A bucket of a chart that is longer than a quarter of an hour is asked at so many of its instants.
_LOOKS = 12
_QUARTER_US = 15 * 60 * 1_000_000


class RecordedVersion(Protocol):
    """An outcome of a night as the store holds it."""

    @property
    def applies_from_us(self) -> int: ...
    @property
    def form(self) -> str: ...
    @property
    def data(self) -> dict[str, Any]: ...


def newest_standing(recorded: Sequence[RecordedVersion]) -> Standing | None:
    """The last of what the store recorded, as what stands; None for nothing that is known any more."""
    for one in reversed(recorded):
        fitted = from_data(one.form, one.data)
        if fitted is not None:
            return Standing(fitted, one.applies_from_us)
    return None


class Expected:
    """What was usual for one series.

    Parameters
    ----------
    versions
        From which instant on which baseline judged, None for none, in order of time.
    """

    def __init__(self, versions: Sequence[tuple[int, Baseline | None]]) -> None:
        self._from_us = np.array([at_us for at_us, _ in versions], np.int64)
        self._baselines = [baseline for _, baseline in versions]

    @classmethod
    def of(cls, recorded: Iterable[RecordedVersion]) -> Expected:
        """By what the store recorded, in order of application."""
        found = []
        for one in recorded:
            fitted = from_data(one.form, one.data)
            if fitted is not None:
                found.append((one.applies_from_us, baseline_of(fitted)))
        return cls(found)

    def at(self, times_us: IntArray) -> tuple[FloatArray, FloatArray]:
        """The edges of the band at instants, each of shape (n,); NaN where nothing was known."""
        low, high = (np.full(len(times_us), np.nan) for _ in range(2))
        places = np.searchsorted(self._from_us, times_us, side="right") - 1
        for place in np.unique(places).tolist():
            baseline = self._baselines[place] if place >= 0 else None
            if baseline is not None:
                here = places == place
                low[here], high[here] = baseline.expect(times_us[here])
        return low, high

    def over(self, starts_us: IntArray, width_us: int) -> tuple[FloatArray, FloatArray]:
        """The lowest and the highest edge within stretches that begin at instants, each of shape (n,)."""
        if width_us <= _QUARTER_US:
            return self.at(starts_us + width_us // 2)
        offsets = (np.arange(_LOOKS) * 2 + 1) * width_us // (2 * _LOOKS)
        low, high = self.at((starts_us[:, None] + offsets[None, :]).ravel())
        shape = (len(starts_us), _LOOKS)
        return low.reshape(shape).min(axis=1), high.reshape(shape).max(axis=1)
