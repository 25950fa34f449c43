"""One test of ours and the same test of ioos_qc 3.0.0 on the same readings."""

from __future__ import annotations

import math
import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np
from ioos_qc import qartod

from rules import (
    HOUR_US,
    MICROSECONDS,
    AttenuatedSignalLimits,
    Block,
    ClimatologyLimits,
    Engine,
    EngineRules,
    Flag,
    FlatLineLimits,
    GapLimits,
    GrossRangeLimits,
    RateOfChangeLimits,
    SeriesRules,
    SpikeLimits,
    TankRules,
    unpack,
)
from rules.quality.suite import QualitySuite

START_US = 1_790_000_000 * MICROSECONDS
MINUTE = 60 * MICROSECONDS
Limits = (
    GrossRangeLimits
    | SpikeLimits
    | RateOfChangeLimits
    | FlatLineLimits
    | ClimatologyLimits
    | AttenuatedSignalLimits
    | GapLimits
)
# Their name of a period of the calendar.
_PERIODS = {"day_of_year": "dayofyear", "weekday": "dayofweek", "instant": None}


def every(step_us: int, count: int, start_us: int = START_US) -> list[int]:
    return [start_us + step_us * place for place in range(count)]


@dataclass(frozen=True)
class Case:
    """Readings and the limits of one test; NaN is a missing reading.

    `is_late` sends them through the engine, which sets late readings aside; `theirs` are more arguments of
    the library's function.
    """

    test: str
    limits: Limits
    values: Sequence[float]
    times_us: Sequence[int]
    gap_us: int | None = None
    is_late: bool = False
    theirs: Mapping[str, Any] = field(default_factory=dict)

    @cached_property
    def array(self) -> np.ndarray:
        return np.array(self.values, float)

    @cached_property
    def times(self) -> np.ndarray:
        return np.array(self.times_us, np.int64)

    @cached_property
    def missing(self) -> np.ndarray:
        return np.isnan(self.array)

    @cached_property
    def infinite(self) -> np.ndarray:
        return np.isinf(self.array)

    @cached_property
    def elapsed(self) -> np.ndarray:
        """Since the reading before that was there; 0 for the first."""
        elapsed = np.zeros(len(self.times), np.int64)
        there = np.flatnonzero(np.isfinite(self.array))
        elapsed[there[1:]] = np.diff(self.times[there])
        return elapsed

    @cached_property
    def is_behind_gap(self) -> np.ndarray:
        limit_us = 2**62 if self.gap_us is None else self.gap_us
        return self.elapsed > limit_us

    def rules(self) -> SeriesRules:
        limits: dict[str, Any] = {self.test: self.limits}
        if self.gap_us is not None:
            limits["gap"] = GapLimits(self.gap_us)
        return SeriesRules("reef", "x", "temperature", **limits)


def packed_of(rules: SeriesRules, case: Case, cuts: Sequence[int] = ()) -> list[int]:
    """Packed flags of each reading as they stand in the end, the stream cut at these places."""
    if case.is_late:
        engine = Engine(EngineRules((TankRules("reef"),), (rules,)))
        return engine.advance(Block(case.times, case.array, np.zeros(len(case.times), np.int64))).tests
    suite = QualitySuite(rules)
    packed: list[int] = []
    places = [0, *sorted(cut for cut in cuts if 0 < cut < len(case.values)), len(case.values)]
    for start, end in pairwise(places):
        verdicts = suite.judge(list(case.times_us[start:end]), [float(v) for v in case.values[start:end]])
        if verdicts.revised is not None:
            packed[list(case.times_us).index(verdicts.revised[0])] = verdicts.revised[2]
        packed += verdicts.packed
    return packed


def ours(case: Case, cuts: Sequence[int] = ()) -> list[int]:
    flags = []
    newest_us = -(2**62)
    packed = packed_of(case.rules(), case, cuts)
    for bits, time_us, value in zip(packed, case.times_us, case.values, strict=True):
        if math.isnan(value):
            flags.append(int(Flag.MISSING))
            continue
        is_late, newest_us = time_us <= newest_us, max(newest_us, time_us)
        # A late reading is judged by no test at all.
        flags.append(int(Flag.NOT_EVALUATED if is_late else unpack(bits).get(case.test, Flag.PASS)))
    return flags


def theirs(case: Case) -> list[int]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return np.ma.filled(_CALLS[case.test](case, case.limits), 9).astype(int).tolist()


def _stamps(case: Case) -> np.ndarray:
    return case.times.astype("M8[us]").astype("M8[ns]")


def _seconds(duration_us: int) -> float:
    return duration_us / MICROSECONDS


def _finite(low: float, high: float) -> tuple[float, float] | None:
    return (low, high) if math.isfinite(low) else None


def _gross_range(case: Case, limits: GrossRangeLimits) -> Any:
    return qartod.gross_range_test(
        case.array, (limits.sensor_low, limits.sensor_high), _finite(limits.usual_low, limits.usual_high)
    )


def _spike(case: Case, limits: SpikeLimits) -> Any:
    return qartod.spike_test(case.array, limits.suspect, limits.fail, limits.method)


def _rate_of_change(case: Case, limits: RateOfChangeLimits) -> Any:
    assert limits.suspect_per_hour is not None
    return qartod.rate_of_change_test(
        case.array, _stamps(case), limits.suspect_per_hour / 3600, **case.theirs
    )


def _flat_line(case: Case, limits: FlatLineLimits) -> Any:
    return qartod.flat_line_test(
        case.array,
        _stamps(case),
        int(_seconds(limits.suspect_after_us)),
        int(_seconds(limits.fail_after_us)),
        limits.tolerance,
    )


def _climatology(case: Case, limits: ClimatologyLimits) -> Any:
    config = qartod.ClimatologyConfig()
    for season in limits.seasons:
        period = _PERIODS.get(season.period, season.period)
        bounds = (season.first, season.last)
        config.add(
            tspan=bounds if period else tuple(np.datetime64(bound, "us") for bound in bounds),
            vspan=(season.low, season.high),
            fspan=_finite(season.fail_low, season.fail_high),
            period=period,
        )
    return qartod.climatology_test(config, case.array, _stamps(case), np.full(len(case.array), np.nan))


def _attenuated_signal(case: Case, limits: AttenuatedSignalLimits) -> Any:
    return qartod.attenuated_signal_test(
        case.array,
        _stamps(case),
        limits.suspect_below,
        -1.0 if limits.fail_below is None else limits.fail_below,
        test_period=_seconds(limits.window_us),
        min_obs=limits.fewest,
        check_type={"range": "range", "deviation": "std"}[limits.method],
    )


def _gap(case: Case, limits: GapLimits) -> Any:
    return qartod.time_gap_test(_stamps(case), limits.fail_after_us / HOUR_US)


_CALLS: dict[str, Any] = {
    "gross_range": _gross_range,
    "spike": _spike,
    "rate_of_change": _rate_of_change,
    "flat_line": _flat_line,
    "climatology": _climatology,
    "attenuated_signal": _attenuated_signal,
    "gap": _gap,
}
