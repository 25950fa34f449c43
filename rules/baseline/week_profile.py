"""The fitted baseline as data: a table of a day or a week, a half width, and a season where there is one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from rules.baseline.band import Band
from rules.baseline.day_grid import SLOTS
from rules.baseline.season import YearWave
from rules.blocks import FloatArray, IntArray
from rules.local_time import DAY_US, QUARTER_US, offset_us, weekday_of

# Bands kept: three days of looking back, several times over.
_KEPT = 1024


@dataclass(frozen=True, slots=True)
class WeekProfile:
    """What is usual in each quarter of an hour of the clock on the wall.

    Parameters
    ----------
    time_zone
        IANA name.
    centre
        Shape (1, 96) or, Monday first, (7, 96), in the unit of the series.
    half_width
        Shape (96,): of the band about the centre.
    coverage
        Share of quarters of an hour that such a band held on days that it had not seen.
    pattern
        Which form it has: one of `rules.baseline.shapes.FORMS`.
    skill
        By how much it errs less than the plain median of all before, as a share of that error; 0: not less.
    days, until_us
        Days that it was learnt from, and the instant of the last reading that it knows.
    season, season_from_us
        A yearly wave that moves the centre from where it stood at that instant; None and 0 for none.
    """

    time_zone: str
    centre: tuple[tuple[float, ...], ...]
    half_width: tuple[float, ...]
    coverage: float
    pattern: str
    skill: float
    days: int
    until_us: int = 0
    season: YearWave | None = None
    season_from_us: int = 0
    _bands: dict[int, Band] = field(default_factory=dict, init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Refuse a table of another shape.

        Raises
        ------
        ValueError
            If it is none.
        """
        widths = {len(row) for row in (*self.centre, self.half_width)}
        if len(self.centre) not in (1, 7) or widths != {SLOTS}:
            raise ValueError(f"a profile has 1 or 7 rows of {SLOTS} quarters and a half width for each")

    def band_at(self, time_us: int) -> Band:
        """Return the usual band at an instant."""
        quarter = time_us // QUARTER_US
        band = self._bands.get(quarter)
        if band is None:
            if len(self._bands) >= _KEPT:
                self._bands.clear()
            band = self._bands[quarter] = self._band_in(quarter)
        return band

    def expect(self, times_us: IntArray) -> tuple[FloatArray, FloatArray]:
        """Return the band's edges at instants; see `Baseline`."""
        quarters, position = np.unique(times_us // QUARTER_US, return_inverse=True)
        bands = [self._band_in(int(quarter)) for quarter in quarters]
        low = np.array([band.low for band in bands], np.float64)
        high = np.array([band.high for band in bands], np.float64)
        return low[position], high[position]

    def _band_in(self, quarter: int) -> Band:
        start_us = quarter * QUARTER_US
        day, rest_us = divmod(start_us + offset_us(self.time_zone, quarter), DAY_US)
        slot = rest_us // QUARTER_US
        row = self.centre[weekday_of(day)] if len(self.centre) > 1 else self.centre[0]
        centre = row[slot]
        if self.season is not None:
            centre += self.season.at(start_us) - self.season.at(self.season_from_us)
        half = self.half_width[slot]
        return Band(centre - half, centre, centre + half)

    def to_data(self) -> dict[str, Any]:
        """Return it as values that JSON has; `from_data` takes them."""
        data: dict[str, Any] = {
            "time_zone": self.time_zone,
            "centre": [list(row) for row in self.centre],
            "half_width": list(self.half_width),
            "coverage": self.coverage,
            "pattern": self.pattern,
            "skill": self.skill,
            "days": self.days,
            "until_us": self.until_us,
        }
        if self.season is not None:
            data["season"] = [self.season.cosine, self.season.sine, self.season_from_us]
        return data

    @classmethod
    def from_data(cls, data: Mapping[str, Any]) -> WeekProfile:
        """Make it of what `to_data` returned.

        Raises
        ------
        KeyError, TypeError, ValueError
            If it was not that.
        """
        season, from_us = None, 0
        if "season" in data:
            cosine, sine, from_us = data["season"]
            season = YearWave(cosine, sine)
        return cls(
            time_zone=data["time_zone"],
            centre=tuple(tuple(row) for row in data["centre"]),
            half_width=tuple(data["half_width"]),
            coverage=data["coverage"],
            pattern=data["pattern"],
            skill=data["skill"],
            days=data["days"],
            until_us=data["until_us"],
            season=season,
            season_from_us=from_us,
        )
