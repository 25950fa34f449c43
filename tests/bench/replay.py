"""A week of six series every 10 s through the engine, beside ioos_qc over the same columns, in one run.

python tests/bench/replay.py [--days 7] [--runs 5]

The engine runs five quality tests, one-minute features, limit, rate and fault alarms and incidents;
ioos_qc runs its four tests of the same kinds (gross range, spike, rate of change, flat line) and nothing
else. Both are fed arrays that are already in memory; runs of the two alternate and medians are printed.
`live` is the engine given one reading at a time.
"""

from __future__ import annotations

import argparse
import statistics
import time
import warnings
from collections.abc import Callable

import numpy as np
from ioos_qc import qartod

from rules import (
    HOUR_US,
    MICROSECONDS,
    Block,
    Engine,
    EngineRules,
    FlatLineLimits,
    GapLimits,
    GrossRangeLimits,
    LimitAlarm,
    Priority,
    RateAlarm,
    RateOfChangeLimits,
    SeriesRules,
    SpikeLimits,
    TankRules,
    WeekProfile,
    fit_baseline,
)

MINUTE_US = 60 * MICROSECONDS
DAY_US = 24 * HOUR_US
START_US = 1_772_409_600 * MICROSECONDS
SERIES = 6


def make_rules() -> EngineRules:
    alarms = tuple(
        LimitAlarm(setpoint, is_high, is_danger, 0.2, 5 * MINUTE_US, 10 * MINUTE_US, Priority.HIGH)
        for setpoint, is_high, is_danger in (
            (23.0, False, False),
            (28.0, True, False),
            (21.0, False, True),
            (30.0, True, True),
        )
    )
    series = tuple(
        SeriesRules(
            "reef",
            f"probe_{number}",
            "temperature" if number == 0 else "ph",
            gross_range=GrossRangeLimits(-5, 60, 15, 35),
            spike=SpikeLimits(0.5, 1.5),
            rate_of_change=RateOfChangeLimits(60.0),
            flat_line=FlatLineLimits(0.001, HOUR_US, 2 * HOUR_US),
            gap=GapLimits(10 * MINUTE_US),
            limit_alarms=alarms,
            rate_alarm=RateAlarm(2.0, HOUR_US, 10 * MINUTE_US, 10 * MINUTE_US, Priority.HIGH),
        )
        for number in range(SERIES)
    )
    return EngineRules((TankRules("reef", equipment=frozenset({"heater"})),), series)


def make_columns(days: int) -> tuple[np.ndarray, np.ndarray]:
    """Instants of shape (n,) and values of shape (6, n): a day cycle with noise of a probe."""
    chance = np.random.default_rng(1)
    steps = np.arange(days * 8640, dtype=np.int64)
    cycle = 0.4 * np.sin(steps * 2 * np.pi / 8640)
    return START_US + steps * 10 * MICROSECONDS, 25 + cycle + chance.normal(0, 0.02, (SERIES, len(steps)))


def timed(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--days", type=int, default=7)
    parser.add_argument("--runs", type=int, default=5)
    options = parser.parse_args()

    rules = make_rules()
    times, values = make_columns(options.days)
    fitted = [fit_baseline(times, values[number], "UTC", "temperature") for number in range(SERIES)]
    baselines = {number: one for number, one in enumerate(fitted) if isinstance(one, WeekProfile)}
    # As a recording holds them: in order of time, the series side by side.
    all_times = np.repeat(times, SERIES)
    all_values = values.T.reshape(-1)
    all_series = np.tile(np.arange(SERIES, dtype=np.int64), len(times))
    day = SERIES * 8640
    count = len(all_times)
    stamps = times.astype("M8[us]").astype("M8[ns]")

    def ours() -> None:
        engine = Engine(rules, baselines)
        for start in range(0, count, day):
            part = slice(start, start + day)
            engine.advance(Block(all_times[part], all_values[part], all_series[part]))

    def theirs() -> None:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            for number in range(SERIES):
                one = values[number]
                qartod.gross_range_test(one, fail_span=(-5, 60), suspect_span=(15, 35))
                qartod.spike_test(one, suspect_threshold=0.5, fail_threshold=1.5)
                qartod.rate_of_change_test(one, tinp=stamps, threshold=60 / 3600)
                qartod.flat_line_test(
                    one, tinp=stamps, suspect_threshold=3600, fail_threshold=7200, tolerance=0.001
                )

    def live() -> None:
        engine = Engine(rules, baselines)
        for place in range(3000):
            part = slice(place, place + 1)
            engine.advance(Block(all_times[part], all_values[part], all_series[part]))

    seconds: dict[str, list[float]] = {"engine": [], "ioos_qc": [], "live": []}
    for _ in range(options.runs):
        seconds["engine"].append(timed(ours))
        seconds["ioos_qc"].append(timed(theirs))
        seconds["live"].append(timed(live))
    engine, reference, single = (statistics.median(seconds[name]) for name in ("engine", "ioos_qc", "live"))
    print(f"{count:,} readings, {options.runs} runs, medians (smallest to largest)")
    for name, size in (("engine", count), ("ioos_qc", count), ("live", 3000)):
        runs = sorted(seconds[name])
        median = statistics.median(runs)
        print(
            f"{name:8} {median:7.3f} s ({runs[0]:.3f} to {runs[-1]:.3f})  {size / median:12,.0f} readings/s"
            f"  {median / size * 1e6:7.2f} us a reading"
        )
    print(f"engine over ioos_qc: {reference / engine:.2f} times its speed")
    print(f"live over block: {single / 3000 / (engine / count):.0f} times its cost")


if __name__ == "__main__":
    main()
