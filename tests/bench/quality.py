"""The quality tests of a reading beside ioos_qc, in one run: equal tests, equal flags first.

python tests/bench/quality.py [--days 2] [--runs 7]

Three sets of tests of one series every 10 s. `equal`: gross range, spike, rate of change and flat line, with
limits for which both sides give the same flags, which is checked before anything is timed. `readings`: all
seven tests of single readings, the band of the climatology among them. `spread`: these and the rate by the
series' own spread. Ours is given blocks of 1 (live), 60 and 8640 (a day) readings, ioos_qc all of them at
once, which is its best case. CPU time, medians of runs that alternate.
"""

from __future__ import annotations

import argparse
import statistics
import time
import warnings
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from ioos_qc import qartod

from rules import (
    HOUR_US,
    MICROSECONDS,
    AttenuatedSignalLimits,
    Band,
    ClimatologyLimits,
    FlatLineLimits,
    GapLimits,
    GrossRangeLimits,
    RateOfChangeLimits,
    SeriesRules,
    SpikeLimits,
    unpack,
)
from rules.quality.suite import QualitySuite

START_US = 1_772_409_600 * MICROSECONDS
EVERY_US = 10 * MICROSECONDS
BLOCKS = (1, 60, 8640)
EQUAL = SeriesRules(
    "reef",
    "temperature",
    "temperature",
    gross_range=GrossRangeLimits(-5, 60, 24.55, 25.45),
    spike=SpikeLimits(0.07, 0.14),
    rate_of_change=RateOfChangeLimits(27.0),
    flat_line=FlatLineLimits(0.0005, HOUR_US, 2 * HOUR_US),
)
READINGS = replace(
    EQUAL,
    gap=GapLimits(HOUR_US // 6),
    climatology=ClimatologyLimits(2.0),
    attenuated_signal=AttenuatedSignalLimits(12 * HOUR_US, 0.1, 0.02),
)
SPREAD = replace(READINGS, rate_of_change=RateOfChangeLimits(27.0, 3.0, least_change=0.15))


class DayBand:
    """A usual band that follows the day."""

    def band_at(self, time_us: int) -> Band:
        centre = 25 + 0.4 * float(np.sin(time_us / (24 * HOUR_US) * 2 * np.pi))
        return Band(centre - 0.2, centre, centre + 0.2)


def make_series(days: int) -> tuple[list[int], list[float]]:
    """A day cycle with the noise of a probe of 0.001 degC, some spikes, three hours stuck."""
    chance = np.random.default_rng(1)
    steps = np.arange(days * 8640)
    values = 25 + 0.4 * np.sin(steps * 2 * np.pi / 8640) + chance.normal(0, 0.015, len(steps))
    values[chance.integers(0, len(steps), len(steps) // 2000)] += 0.3
    values[5000:6080] = values[5000]
    times = START_US + steps * EVERY_US
    return times.tolist(), values.round(3).tolist()


def judge(
    rules: SeriesRules, times_us: list[int], values: list[float], block: int
) -> Callable[[], list[int]]:
    """Cut beforehand, so that cutting is not timed."""
    places = range(0, len(values), block)
    blocks = [(times_us[place : place + block], values[place : place + block]) for place in places]

    def run() -> list[int]:
        suite = QualitySuite(rules)
        suite.set_band_source(DayBand())
        packed: list[int] = []
        for some_times, some_values in blocks:
            verdicts = suite.judge(some_times, some_values)
            if verdicts.revised is not None:
                packed[-1] = verdicts.revised[2]
            packed += verdicts.packed
        return packed

    return run


def library(times_us: list[int], values: list[float]) -> Callable[[], dict[str, np.ndarray]]:
    stamps = np.array(times_us).astype("M8[us]").astype("M8[ns]")
    column = np.array(values)

    def run() -> dict[str, np.ndarray]:
        return {
            "gross_range": qartod.gross_range_test(column, (-5, 60), (24.55, 25.45)),
            "spike": qartod.spike_test(column, 0.07, 0.14),
            "rate_of_change": qartod.rate_of_change_test(column, stamps, 27.0 / 3600),
            "flat_line": qartod.flat_line_test(column, stamps, 3600, 7200, 0.0005),
        }

    return run


def check_equal(packed: list[int], reference: dict[str, np.ndarray], first: int = 1) -> None:
    """Raise unless all flags agree from the `first` on that can be judged, but for the newest."""
    flags = [unpack(bits) for bits in packed]
    for name, other in reference.items():
        mine = [int(one.get(name, 1)) for one in flags]
        differing = [place for place, flag in enumerate(other.tolist()) if flag != mine[place]]
        unexpected = [place for place in differing if first <= place < len(mine) - 1]
        assert not unexpected, (name, unexpected[:10])
        print(f"  {name}: {sum(flag != 1 for flag in mine):,} of {len(mine):,} readings do not pass; equal")


def timed(work: Callable[[], object]) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--days", type=int, default=2)
    parser.add_argument("--runs", type=int, default=7)
    options = parser.parse_args()
    times_us, values = make_series(options.days)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        reference = library(times_us, values)
        print("flags of the equal tests")
        check_equal(judge(EQUAL, times_us, values, 8640)(), reference())
        works: dict[tuple[str, int], Callable[[], object]] = {("ioos_qc", len(values)): reference}
        for name, rules in (("equal", EQUAL), ("readings", READINGS), ("spread", SPREAD)):
            for block in BLOCKS:
                works[name, block] = judge(rules, times_us, values, block)
        seconds: dict[tuple[str, int], list[float]] = {key: [] for key in works}
        for _ in range(options.runs):
            for key, work in works.items():
                seconds[key].append(timed(work))
    count = len(values)
    theirs = statistics.median(seconds["ioos_qc", count])
    print(f"{count:,} readings, {options.runs} runs, medians (smallest to largest)")
    for (name, block), runs in seconds.items():
        median, runs = statistics.median(runs), sorted(runs)
        print(
            f"{name:9} blocks of {block:6}: {median / count * 1e6:6.3f} us a reading "
            f"({runs[0] / count * 1e6:.3f} to {runs[-1] / count * 1e6:.3f}), "
            f"{theirs / median:5.2f} times the speed of ioos_qc"
        )


if __name__ == "__main__":
    main()
