"""A week of a tank's six series every 10 s through the whole engine, beside ioos_qc over the same columns.

python tests/bench/replay.py [--days 7] [--runs 5]

The tank is simulated: temperature, pH, salinity, sump level, reservoir and heater power, as their probes
show them, with baselines of the two weeks before. The engine does all that it can: seven quality tests of
each reading, limits, rates, every fault for which these series are enough, incidents. `quality` is the
tests alone; `live` is the whole engine given one reading at a time, behind three days of look-back. ioos_qc
runs its four tests of the same kinds and nothing else; `equal` is ours with just these four, and limits for
which the flags agree, which is checked first. All are fed arrays that are in memory already. CPU time of
one core, of runs that alternate: the best, and the median.
"""

from __future__ import annotations

import argparse
import statistics
import time
import warnings
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt
from ioos_qc import qartod

from collector.simulation import SimulatedTank, TankSettings
from rules import (
    FAULTS,
    HOUR_US,
    MICROSECONDS,
    AlarmRaised,
    AttenuatedSignalLimits,
    Block,
    ClimatologyLimits,
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
from rules.quality.suite import QualitySuite
from rules.survey import survey
from tests.bench.quality import check_equal

MINUTE_US = HOUR_US // 60
DAY_US = 24 * HOUR_US
EVERY_US = 10 * MICROSECONDS
START_US = 1_772_409_600 * MICROSECONDS
LEARNT_DAYS = 14
LOOK_BACK_DAYS = 3
LIVE_HOURS = 3
YEAR = 365 * 6 * DAY_US // EVERY_US
# Series: its quantity, what its sensor can show, what water can be, limits and danger lines, spikes, rate an
# hour.
Limits = tuple[float, float]
SERIES: dict[str, tuple[str, Limits, Limits, Limits, Limits, Limits, float]] = {
    "temperature": ("temperature", (-5, 60), (15, 35), (24, 27.5), (22, 29.5), (0.3, 1), 40),
    "ph": ("ph", (0, 14), (6.5, 9.5), (7.7, 8.6), (7.5, 8.8), (0.1, 0.4), 20),
    "practical_salinity": ("practical_salinity", (0, 60), (20, 45), (33, 37), (31, 39), (0.5, 2), 100),
    "sump_level": ("water_level", (0, 60), (10, 40), (20, 24), (18, 26), (0.5, 2), 60),
    "reservoir": ("volume", (-1, 100), (0, 80), (5, 60), (1, 70), (2, 5), 240),
    "heater_power": ("power", (-50, 4000), (-50, 3000), (-10, 500), (-20, 600), (1e3, 2e3), 1e6),
}
EQUIPMENT = frozenset().union(*(fault.equipment for fault in FAULTS.values()))
Column = npt.NDArray[np.float64]
Instants = npt.NDArray[np.int64]


def make_series(name: str) -> SeriesRules:
    quantity, sensor, plausible, limits, dangers, spike, rate = SERIES[name]
    alarms = tuple(
        LimitAlarm(setpoint, setpoint == pair[1], pair is dangers, 0.1, 5 * MINUTE_US, 10 * MINUTE_US, how)
        for pair, how in ((limits, Priority.HIGH), (dangers, Priority.URGENT))
        for setpoint in pair
    )
    is_switched = quantity == "power"
    steady = RateAlarm(rate / 10, HOUR_US, 10 * MINUTE_US, 10 * MINUTE_US, Priority.HIGH)
    return SeriesRules(
        "reef",
        name,
        quantity,
        gross_range=GrossRangeLimits(*sensor, *plausible),
        spike=SpikeLimits(*spike),
        rate_of_change=RateOfChangeLimits(rate),
        # A heater rests for hours, and a power meter shows it so.
        flat_line=None if is_switched else FlatLineLimits(0.0, 4 * HOUR_US, 8 * HOUR_US),
        gap=GapLimits(15 * MINUTE_US),
        climatology=None if is_switched else ClimatologyLimits(),
        attenuated_signal=None if is_switched else AttenuatedSignalLimits(12 * HOUR_US, 0.02, 0.005),
        rate_alarm=steady if quantity in ("temperature", "ph") else None,
        limit_alarms=alarms,
    )


def only_four(rules: SeriesRules) -> SeriesRules:
    """The tests that ioos_qc has too."""
    flat_line = FlatLineLimits(0.0005, HOUR_US, 2 * HOUR_US)
    return replace(rules, gap=None, climatology=None, attenuated_signal=None, flat_line=flat_line)


def library(name: str, stamps: npt.NDArray[np.datetime64], column: Column) -> dict[str, Column]:
    _, sensor, plausible, _, _, spike, rate = SERIES[name]
    return {
        "gross_range": qartod.gross_range_test(column, sensor, plausible),
        "spike": qartod.spike_test(column, *spike),
        "rate_of_change": qartod.rate_of_change_test(column, stamps, rate / 3600),
        "flat_line": qartod.flat_line_test(column, stamps, 3600, 7200, 0.0005),
    }


def recorded(days: int) -> tuple[dict[int, WeekProfile], Instants, list[Column]]:
    """What is usual by the first two weeks, then the instants and columns of the days behind them."""
    tank = SimulatedTank(TankSettings(), seed=3, start_us=START_US)
    known = tank.record(START_US + LEARNT_DAYS * DAY_US, MINUTE_US)
    fitted = [fit_baseline(known.times_us, known.columns[name], "UTC", of[0]) for name, of in SERIES.items()]
    # A heater is on or off, and has no usual band.
    baselines = {number: one for number, one in enumerate(fitted) if isinstance(one, WeekProfile)}
    baselines.pop(list(SERIES).index("heater_power"), None)
    tank.advance_to(START_US + LEARNT_DAYS * DAY_US)
    week = tank.record(START_US + (LEARNT_DAYS + days) * DAY_US, EVERY_US)
    return baselines, week.times_us, [week.columns[name] for name in SERIES]


def make_blocks(times_us: Instants, columns: Sequence[Column], rows: int) -> list[Block]:
    """Blocks of so many readings of each series, in order of time."""
    count = len(columns)
    return [
        Block(
            np.repeat(times_us[start : start + rows], count),
            np.stack([column[start : start + rows] for column in columns], 1).ravel(),
            np.tile(np.arange(count), len(times_us[start : start + rows])),
        )
        for start in range(0, len(times_us), rows)
    ]


def judge_quality(
    series: Sequence[SeriesRules],
    baselines: dict[int, WeekProfile],
    times_us: Instants,
    columns: Sequence[Column],
    size: int,
) -> Callable[[], list[list[int]]]:
    """The tests alone, in calls of so many readings: cut beforehand, surveyed in the timing."""
    places = [slice(start, start + size) for start in range(0, len(times_us), size)]
    parts = [
        [(times_us[one], column[one], times_us[one].tolist(), column[one].tolist()) for one in places]
        for column in columns
    ]

    def run() -> list[list[int]]:
        found = []
        for number, rules in enumerate(series):
            suite = QualitySuite(rules)
            suite.set_band_source(baselines.get(number))
            packed: list[int] = []
            for instants, some, some_times, values in parts[number]:
                found_by_survey = survey(instants, some, instants) if size > 1 else None
                verdicts = suite.judge(some_times, values, found_by_survey)
                if verdicts.revised is not None:
                    packed[-1] = verdicts.revised[2]
                packed += verdicts.packed
            found.append(packed)
        return found

    return run


def timed(work: Callable[[], object]) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--days", type=int, default=7, help="4 at least")
    parser.add_argument("--runs", type=int, default=5)
    options = parser.parse_args()

    series = tuple(make_series(name) for name in SERIES)
    rules = EngineRules((TankRules("reef", volume_litres=400.0, equipment=EQUIPMENT),), series)
    baselines, times_us, columns = recorded(options.days)
    day = DAY_US // EVERY_US
    blocks = make_blocks(times_us, columns, day)
    count = sum(len(block) for block in blocks)
    stamps = times_us.astype("M8[us]").astype("M8[ns]")
    four = [only_four(one) for one in series]

    first, live_rows = LOOK_BACK_DAYS * day, LIVE_HOURS * HOUR_US // EVERY_US
    live_part = slice(first, first + live_rows)
    rows = make_blocks(times_us[live_part], [column[live_part] for column in columns], live_rows)[0]
    singles = [
        Block(rows.times_us[k : k + 1], rows.values[k : k + 1], rows.series[k : k + 1])
        for k in range(len(rows))
    ]

    def engine() -> list[str]:
        judging = Engine(rules, baselines)
        events = [event for block in blocks for event in judging.advance(block).events]
        return [event.alarm.cause for event in events if isinstance(event, AlarmRaised)]

    def live() -> float:
        judging = Engine(rules, baselines)
        for block in blocks[:LOOK_BACK_DAYS]:
            judging.advance(block)
        start = time.process_time()
        for block in singles:
            judging.advance(block)
        return time.process_time() - start

    def theirs() -> list[dict[str, Column]]:
        return [library(name, stamps, column) for name, column in zip(SERIES, columns, strict=True)]

    tanks = Engine(rules)._tanks.values()
    faults = {key.cause for tank in tanks for key in tank.causes} & set(FAULTS)
    print(f"{len(faults)} of {len(FAULTS)} faults looked for; alarms of the week: {engine() or 'none'}")
    quality = judge_quality(series, baselines, times_us, columns, day)
    single = judge_quality(series, baselines, times_us[: 2 * day], [one[: 2 * day] for one in columns], 1)
    equal = judge_quality(four, {}, times_us, columns, day)
    works: dict[str, tuple[int, Callable[[], float]]] = {
        "engine, all of it, blocks of a day": (count, lambda: timed(engine)),
        "engine live, one reading at a time": (len(singles), live),
        "quality, blocks of a day": (count, lambda: timed(quality)),
        "quality, one reading at a time": (12 * day, lambda: timed(single)),
        "equal: four quality tests": (count, lambda: timed(equal)),
        "ioos_qc: these four": (count, lambda: timed(theirs)),
    }
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for name, column, packed, reference in zip(SERIES, columns, equal(), theirs(), strict=True):
            print(name)
            # Before anything has moved ours does not say that something does.
            check_equal(packed, reference, int(np.flatnonzero(np.diff(column))[0]) + 1)
        seconds: dict[str, list[float]] = {name: [] for name in works}
        for _ in range(options.runs):
            for name, (_, work) in works.items():
                seconds[name].append(work())
    print(f"{count:,} readings, {options.runs} runs: best, median")
    cost = {name: min(seconds[name]) / works[name][0] for name in works}
    for name, best in cost.items():
        median = statistics.median(seconds[name]) / works[name][0]
        print(f"{name:36} {1 / best:12,.0f} readings/s  {best * 1e6:6.2f} us a reading, {median * 1e6:6.2f}")
    whole, reference_cost = cost["engine, all of it, blocks of a day"], cost["ioos_qc: these four"]
    print(f"all of the engine: {reference_cost / whole:.2f} times the speed of ioos_qc's four tests")
    print(f"equal tests: {reference_cost / cost['equal: four quality tests']:.2f} times its speed")
    print(f"a year of six series every 10 s ({YEAR:,} readings): {YEAR * whole:.0f} s")


if __name__ == "__main__":
    main()
