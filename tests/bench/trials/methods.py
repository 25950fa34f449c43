"""Other ways to watch a tank, on the same readings: fixed limits, ioos_qc, a seasonal z-score, river.

Each method has channels (a series, or a side of one), options (how long a thing must last) and rising
levels. For a fault trial it tells when each level would first ring; for a quiet month, how often. `tuning`
then picks, for every channel, what tells most at a given number of false alarms. All of them learn from the
same fortnight of the very tank, and none is asked about work that was told beforehand: both are more than
they usually have.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Protocol

import numpy as np

from tests.bench.trials.cells import medians, onsets, sustained
from tests.bench.trials.probes import Readings
from tests.bench.trials.worlds import BASIC, MINUTE_US, World

DAY_US = 1440 * MINUTE_US
# Two rings of one thing within an hour are one; so a method needs no deadband of its own.
_APART_MINUTES = 60


@dataclass(slots=True)
class Stretch:
    """What a method hears: a fortnight to learn from, and then what it judges."""

    key: tuple
    world: World
    fortnight: Readings
    learned_us: int
    readings: Readings
    from_us: int
    to_us: int
    told: Sequence[tuple[int, int]] = ()


class Method(Protocol):
    """A way to watch: scores of channels and options on an even grid of `minutes`."""

    name: str
    minutes: int

    def scores(self, stretch: Stretch, names: Sequence[str]) -> dict[tuple[str, str], np.ndarray]:
        """Channel and option -> score of each cell of the stretch."""
        ...

    def levels(self, channel: str) -> np.ndarray:
        """Rising levels that a channel's scores may have to reach."""
        ...


def ring_minutes(
    method: Method, stretch: Stretch, names: Sequence[str], at_us: int
) -> dict[tuple[str, str], np.ndarray]:
    """Minutes from an instant to the first ring at each level; what rang before and has not ended is none."""
    found = {}
    skip = int((at_us - stretch.from_us) // MINUTE_US) // method.minutes
    apart = _APART_MINUTES // method.minutes
    for key, scores in method.scores(stretch, names).items():
        levels = method.levels(key[0])
        minutes = np.full(len(levels), np.inf)
        for i, level in enumerate(levels):
            rings = onsets(scores, level, apart)
            place = int(np.searchsorted(rings, skip))
            if place < len(rings):
                minutes[i] = (rings[place] + 1 - skip) * method.minutes
        found[key] = minutes
    return found


def false_rings(method: Method, stretch: Stretch, names: Sequence[str]) -> dict[tuple[str, str], np.ndarray]:
    """How often each level rings in a stretch without a failure, work that was told left out.

    What does not end rings anew every day: somebody must live with it.
    """
    found = {}
    apart = _APART_MINUTES // method.minutes
    day = 1440 // method.minutes
    for key, scores in method.scores(stretch, names).items():
        scores = scores.copy()
        for from_us, to_us in stretch.told:
            first, last = ((at - stretch.from_us) // MINUTE_US // method.minutes for at in (from_us, to_us))
            scores[max(0, first) : last + 1] = -np.inf
        counts = []
        for level in method.levels(key[0]):
            rings = len(onsets(scores, level, apart))
            counts.append(max(rings, int(np.count_nonzero(scores >= level) // day)))
        found[key] = np.array(counts, float)
    return found


# -- fixed limits ----------------------------------------------------------------------------------

LIMITED = (*BASIC, "reservoir", "temperature_2", "reactor_ph", "floor_contact")
# How far beyond the tank's own range (1 to 99 % of its fortnight) a limit may lie, in the series' unit.
_REACH = {
    "temperature": 6.0,
    "temperature_2": 6.0,
    "ph": 1.5,
    "reactor_ph": 1.5,
    "practical_salinity": 6.0,
    "sump_level": 12.0,
    "reservoir": 60.0,
    "floor_contact": 1.0,
}


class FixedLimits:
    """A low and a high limit for each series, each with an on-delay.

    About the usual value (the median of the tank's own fortnight), as a keeper writes them; or about its own
    range (1 to 99 % of it), so that tanks that swing much and little each have what fits them.
    """

    minutes = 1
    on_delays = (2, 5, 10, 20, 40, 80)

    def __init__(self, name: str, shares: tuple[float, float]) -> None:
        self.name = name
        self._shares = shares

    def scores(self, stretch: Stretch, names: Sequence[str]) -> dict[tuple[str, str], np.ndarray]:
        found = {}
        for name in names:
            if name not in LIMITED:
                continue
            low, high = _own_range(stretch.key, stretch.fortnight, name, self._shares)
            hold = stretch.world.every_s // 60
            values = medians(
                stretch.readings.times[name],
                stretch.readings.values[name],
                stretch.from_us,
                stretch.to_us,
                1,
                hold,
            )
            for side, beyond in (("low", low - values), ("high", values - high)):
                for minutes in self.on_delays:
                    found[f"{name} {side}", f"{minutes} min"] = sustained(beyond, minutes)
        return found

    def levels(self, channel: str) -> np.ndarray:
        return _REACH[channel.split()[0]] * np.concatenate(([0.002], np.geomspace(0.005, 1.0, 47)))


_RANGES: dict[tuple, tuple[float, float]] = {}


def _own_range(
    key: tuple, fortnight: Readings, name: str, shares: tuple[float, float]
) -> tuple[float, float]:
    found = _RANGES.get((key, name, shares))
    if found is None:
        values = fortnight.values[name]
        low, high = (float(one) for one in np.quantile(values, shares))
        found = _RANGES[key, name, shares] = (low, high)
    return found


# -- ioos_qc ---------------------------------------------------------------------------------------


class IoosQc:
    """QARTOD tests of ioos_qc on five-minute medians, limits from the tank's own fortnight times a factor.

    Gross range beyond the fortnight's range, spike and rate of change beyond the largest but one in a
    thousand of it, flat line beyond its longest. A flag that is suspect or fails in the last cells rings.
    """

    name = "ioos_qc"
    minutes = 5
    runs = (1, 3, 6)
    factors = (0.25, 0.4, 0.6, 0.8, 1.0, 1.3, 1.7, 2.2, 3.0, 4.0, 6.0, 9.0)

    def scores(self, stretch: Stretch, names: Sequence[str]) -> dict[tuple[str, str], np.ndarray]:
        found = {}
        for name in names:
            if name not in BASIC:
                continue
            values = _cells(stretch, name)
            times = (
                (stretch.from_us + np.arange(len(values)) * 5 * MINUTE_US).astype("M8[us]").astype("M8[ns]")
            )
            own = _ioos_own(stretch, name)
            # Score: the largest factor of whose limits the cell is still flagged.
            score = np.full(len(values), -np.inf)
            for factor in self.factors:
                score[_ioos_flagged(values, times, own, factor)] = factor
            for run in self.runs:
                found[name, f"{run} cells"] = sustained(score, run)
        return found

    def levels(self, channel: str) -> np.ndarray:
        return np.array(self.factors)


def _cells(stretch: Stretch, name: str) -> np.ndarray:
    readings = stretch.readings
    return medians(readings.times[name], readings.values[name], stretch.from_us, stretch.to_us, 5, 1)


_FORTNIGHTS: dict[tuple, np.ndarray] = {}


def _fortnight(stretch: Stretch, name: str) -> np.ndarray:
    found = _FORTNIGHTS.get((stretch.key, name))
    if found is None:
        times, values = stretch.fortnight.times[name], stretch.fortnight.values[name]
        found = medians(times, values, stretch.learned_us - 14 * DAY_US, stretch.learned_us, 5, 2)
        if len(_FORTNIGHTS) > 64:
            _FORTNIGHTS.clear()
        _FORTNIGHTS[stretch.key, name] = found
    return found


def _ioos_own(stretch: Stretch, name: str) -> tuple[float, float, float, float, float, float]:
    values = _fortnight(stretch, name)
    values = values[np.isfinite(values)]
    low, high = np.quantile(values, (0.005, 0.995))
    steps = np.abs(np.diff(values))
    spikes = np.abs(values[1:-1] - (values[:-2] + values[2:]) / 2)
    resolution = stretch.world.probes[name].resolution
    still = np.concatenate(([0.0], np.abs(np.diff(values)) < resolution / 2))
    longest = run = 0
    for one in still:
        run = run + 1 if one else 0
        longest = max(longest, run)
    return (
        float(low),
        float(high),
        max(float(np.quantile(spikes, 0.999)), resolution),
        max(float(np.quantile(steps, 0.999)), resolution) / 300.0,
        resolution / 2,
        max(longest, 6) * 300.0,
    )


def _ioos_flagged(values: np.ndarray, times: np.ndarray, own: tuple, factor: float) -> np.ndarray:
    from ioos_qc import qartod

    low, high, spike, rate, tolerance, flat_s = own
    margin = (high - low) / 2 * factor
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        flags = [
            qartod.gross_range_test(values, fail_span=(low - margin, high + margin)),
            qartod.spike_test(values, suspect_threshold=spike * factor),
            qartod.rate_of_change_test(values, tinp=times, threshold=rate * factor),
            qartod.flat_line_test(
                values,
                tinp=times,
                suspect_threshold=max(900.0, flat_s * factor),
                fail_threshold=2 * max(900.0, flat_s * factor),
                tolerance=tolerance,
            ),
        ]
    return np.any([np.isin(np.ma.filled(one, 2), (3, 4)) for one in flags], axis=0)


# -- seasonal decomposition ------------------------------------------------------------------------


class SeasonalZ:
    """How many robust standard deviations a cell lies from level and mean day by STL of statsmodels."""

    name = "STL z-score"
    minutes = 5
    runs = (2, 6, 12)

    def scores(self, stretch: Stretch, names: Sequence[str]) -> dict[tuple[str, str], np.ndarray]:
        found = {}
        for name in names:
            if name not in BASIC:
                continue
            values = _cells(stretch, name)
            season, level, size = _stl(stretch, name)
            slots = np.arange(len(values)) % 288
            z = np.abs(values - level - season[slots]) / size
            for run in self.runs:
                found[name, f"{run} cells"] = sustained(z, run)
        return found

    def levels(self, channel: str) -> np.ndarray:
        return np.geomspace(2.0, 200.0, 40)


_STL: dict[tuple, tuple[np.ndarray, float, float]] = {}


def _stl(stretch: Stretch, name: str) -> tuple[np.ndarray, float, float]:
    found = _STL.get((stretch.key, name))
    if found is None:
        from statsmodels.tsa.seasonal import STL

        values = _fortnight(stretch, name)
        known = np.isfinite(values)
        values = np.interp(np.arange(len(values)), np.flatnonzero(known), values[known])
        fit = STL(values, period=288, robust=True, seasonal_jump=29, trend_jump=29, low_pass_jump=29).fit()
        rest = values - fit.seasonal - np.median(fit.trend)
        size = 1.4826 * float(np.median(np.abs(rest - np.median(rest))))
        season = fit.seasonal[-288:]
        found = (
            season,
            float(np.median(fit.trend[-288:])),
            max(size, stretch.world.probes[name].resolution / 2),
        )
        _STL[stretch.key, name] = found
    return found


# -- river -----------------------------------------------------------------------------------------


class RiverTrees:
    """Half-space trees over the four series and the hour, learning all the while."""

    name = "river half-space trees"
    minutes = 5
    runs = (1, 3, 6)

    def scores(self, stretch: Stretch, names: Sequence[str]) -> dict[tuple[str, str], np.ndarray]:
        columns = [name for name in names if name in BASIC]
        before = np.array([_fortnight(stretch, name) for name in columns])
        now = np.array([_cells(stretch, name) for name in columns])
        middle = np.nanmedian(before, axis=1)[:, None]
        size = np.maximum(np.nanquantile(np.abs(before - middle), 0.99, axis=1), 1e-6)[:, None]
        score = _trees(stretch.key, _rows(before, middle, size), _rows(now, middle, size))
        return {("all", f"{run} cells"): sustained(score, run) for run in self.runs}

    def levels(self, channel: str) -> np.ndarray:
        return np.concatenate((np.linspace(0.5, 0.95, 10), 1.0 - np.geomspace(0.04, 1e-4, 30)))


def _rows(columns: np.ndarray, middle: np.ndarray, size: np.ndarray) -> list[dict[str, float]]:
    # Half-space trees want every feature between 0 and 1; the fortnight takes the middle third.
    scaled = np.clip(0.5 + (columns - middle) / size / 6.0, 0.0, 1.0)
    scaled = np.where(np.isfinite(scaled), scaled, 0.5)
    hours = np.arange(columns.shape[1]) * 2 * math.pi / 288
    scaled = np.vstack((scaled, 0.5 + 0.5 * np.sin(hours), 0.5 + 0.5 * np.cos(hours)))
    return [dict(enumerate(row)) for row in scaled.T.tolist()]  # type: ignore[misc]


def _trees(key: tuple, before: list[dict], now: list[dict]) -> np.ndarray:
    import copy

    model = copy.deepcopy(_warm_trees(key, tuple(map(tuple, (row.items() for row in before[::2])))))
    found = np.empty(len(now))
    for i, row in enumerate(now):
        found[i] = model.score_one(row)
        model.learn_one(row)
    return found


@lru_cache(maxsize=4)
def _warm_trees(key: tuple, before: tuple) -> object:
    from river import anomaly

    model = anomaly.HalfSpaceTrees(n_trees=15, height=8, window_size=288, seed=1)
    for row in before:
        model.learn_one(dict(row))
    return model


class RiverGaussian:
    """River's Gaussian scorer over a week of each series' distance from the same hour of the day before."""

    name = "river Gaussian scorer"
    minutes = 5
    runs = (1, 3, 6)

    def scores(self, stretch: Stretch, names: Sequence[str]) -> dict[tuple[str, str], np.ndarray]:
        from river import anomaly

        found = {}
        for name in names:
            if name not in BASIC:
                continue
            joined = np.concatenate((_fortnight(stretch, name)[-8 * 288 :], _cells(stretch, name)))
            steps = joined[288:] - joined[:-288]
            model = anomaly.GaussianScorer(window_size=7 * 288, grace_period=288)
            score = np.zeros(len(steps))
            for i, step in enumerate(steps.tolist()):
                if step == step:
                    score[i] = model.score_one(None, step)
                    model.learn_one(None, step)
            score = score[7 * 288 :]
            for run in self.runs:
                found[name, f"{run} cells"] = sustained(score, run)
        return found

    def levels(self, channel: str) -> np.ndarray:
        return 1.0 - np.geomspace(0.05, 1e-12, 40)


LIMITS: tuple[Method, ...] = (
    FixedLimits("fixed limits", (0.5, 0.5)),
    FixedLimits("own-range limits", (0.01, 0.99)),
)
OTHERS: tuple[Method, ...] = (IoosQc(), SeasonalZ(), RiverTrees(), RiverGaussian())
