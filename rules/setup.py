"""What the engine is told about tanks and series before the first reading: frozen, checked limits.

Everything here is in canonical units and microseconds; text with units ends in `collector.settings`.
A value of None means that the test or alarm is not wanted for this series.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from rules.events import Priority

MICROSECONDS = 1_000_000
HOUR_US = 3600 * MICROSECONDS
# Tests look back so far at most, which lies within what a restart replays (`rules.trace.LOOK_BACK_US`).
LONGEST_WINDOW_US = 48 * HOUR_US
SPIKE_METHODS = ("average", "differential")
ATTENUATION_METHODS = ("range", "deviation")
PERIODS = ("year", "quarter", "month", "week", "day_of_year", "day", "weekday", "hour", "instant")


def _check_window(what: str, window_us: int, *, least_us: int = HOUR_US) -> None:
    if not least_us <= window_us <= LONGEST_WINDOW_US:
        raise ValueError(
            f"{what} over {window_us / HOUR_US:g} h: {least_us / HOUR_US:g} to 48 h are possible"
        )


@dataclass(frozen=True, slots=True)
class GrossRangeLimits:
    """Sensor span (outside: FAIL) and operator span (outside: SUSPECT); bounds belong to the span.

    QARTOD test 4. An absent span is infinite. Raises ValueError if a span is upside down or the operator
    span leaves the sensor span.
    """

    sensor_low: float = float("-inf")
    sensor_high: float = float("inf")
    usual_low: float = float("-inf")
    usual_high: float = float("inf")

    def __post_init__(self) -> None:
        if not self.sensor_low < self.sensor_high:
            raise ValueError(f"sensor range {self.sensor_low:g}..{self.sensor_high:g} is upside down")
        if not self.usual_low < self.usual_high:
            raise ValueError(f"usual range {self.usual_low:g}..{self.usual_high:g} is upside down")
        low_outside = self.usual_low < self.sensor_low and self.usual_low != float("-inf")
        high_outside = self.usual_high > self.sensor_high and self.usual_high != float("inf")
        if low_outside or high_outside:
            raise ValueError(
                f"usual range {self.usual_low:g}..{self.usual_high:g} leaves the sensor range "
                f"{self.sensor_low:g}..{self.sensor_high:g}"
            )


@dataclass(frozen=True, slots=True)
class SpikeLimits:
    """How far a reading may stand apart from both its neighbours; more is SUSPECT or FAIL. QARTOD test 6.

    `method` "average" takes the distance from the mean of both neighbours, "differential" the smaller of the
    steps to them where these have opposite signs. None is no limit; 0 is one. Raises ValueError for another
    method.
    """

    suspect: float | None = None
    fail: float | None = None
    method: str = "average"

    def __post_init__(self) -> None:
        if self.method not in SPIKE_METHODS:
            raise ValueError(f"spike method {self.method!r} is none of {', '.join(SPIKE_METHODS)}")


@dataclass(frozen=True, slots=True)
class RateOfChangeLimits:
    """How fast a value may change from one reading to the next; faster is SUSPECT. QARTOD test 7.

    Parameters
    ----------
    suspect_per_hour
        In the series' unit per hour; None for no fixed limit.
    deviations
        N_DEV of the manual: a change of more than so many standard deviations of the last `window_us`
        is SUSPECT (the manual's example: 3 in 25 h). None for no such limit.
    window_us
        TIM_DEV of the manual, an hour to `LONGEST_WINDOW_US`.
    least_change
        A change up to this is never SUSPECT by its deviations: water that stands still has no spread,
        and a coarse probe steps.
    """

    suspect_per_hour: float | None = None
    deviations: float | None = None
    window_us: int = 25 * HOUR_US
    least_change: float = 0.0

    def __post_init__(self) -> None:
        if self.deviations is not None and not self.deviations > 0:
            raise ValueError(f"rate of change needs more than {self.deviations:g} deviations")
        if self.least_change < 0:
            raise ValueError(f"rate of change: least change {self.least_change:g} is negative")
        _check_window("rate of change", self.window_us)


@dataclass(frozen=True, slots=True)
class FlatLineLimits:
    """How long values may stay within `tolerance` (a span equal to it counts as flat). QARTOD test 8.

    Elapsed time, not counts, so that a changed sampling interval changes no flag. The tolerance is told,
    not learned: a probe that is stuck shows nothing to learn from, and a steady tank at a probe of 0.0625
    degC flickers between two values for hours without any fault. 0 means equal readings; one step of the
    probe also takes in a converter that flickers. What decimals lose in binary (25.1 - 25.0) is allowed for.
    """

    tolerance: float
    suspect_after_us: int
    fail_after_us: int

    def __post_init__(self) -> None:
        if self.tolerance < 0:
            raise ValueError(f"flat line tolerance {self.tolerance:g} is negative")
        if not 0 < self.suspect_after_us < self.fail_after_us:
            raise ValueError("flat line needs 0 < suspect_after < fail_after")


@dataclass(frozen=True, slots=True)
class Season:
    """A span that holds while a period of the calendar lies between `first` and `last`, both included.

    Parameters
    ----------
    period
        One of `PERIODS`: "month" 1..12, "week" of ISO 8601, "weekday" 0 (Monday)..6, "hour" 0..23 and so on
        by the clock on the wall; "instant" in microseconds since 1970 UTC.
    first, last
        `first` > `last` runs over the turn of the year, week or day; "year" and "instant" know no turn.
    low, high
        Outside is SUSPECT; the bounds are inside.
    fail_low, fail_high
        Outside is FAIL, whatever the other span says; the manual has no such level.
    """

    period: str
    first: int
    last: int
    low: float
    high: float
    fail_low: float = float("-inf")
    fail_high: float = float("inf")

    def __post_init__(self) -> None:
        if self.period not in PERIODS:
            raise ValueError(f"period {self.period!r} is none of {', '.join(PERIODS)}")
        if self.first > self.last and self.period in ("year", "instant"):
            raise ValueError(f"season {self.period} {self.first}..{self.last} ends before it begins")
        if not self.low < self.high or not self.fail_low < self.fail_high:
            raise ValueError(f"season {self.period} {self.first}..{self.last}: a span is upside down")


@dataclass(frozen=True, slots=True)
class ClimatologyLimits:
    """What is usual at this time of day, week and year; outside is SUSPECT. QARTOD test 5.

    Parameters
    ----------
    suspect_widths
        Outside the learned band about its centre, widened by this factor, is SUSPECT; None leaves it out.
    seasons
        Fixed spans; of several that hold the last counts.
    time_zone
        IANA name; whose clock on the wall the seasons mean.
    """

    suspect_widths: float | None = 2.0
    seasons: tuple[Season, ...] = ()
    time_zone: str = "UTC"

    def __post_init__(self) -> None:
        if self.suspect_widths is not None and not self.suspect_widths >= 1:
            raise ValueError(f"climatology within {self.suspect_widths:g} of the usual band: 1 at least")


@dataclass(frozen=True, slots=True)
class AttenuatedSignalLimits:
    """How little a value may move within `window_us`; less is SUSPECT or FAIL. QARTOD test 10.

    Parameters
    ----------
    window_us
        TST_TIM of the manual (its example: 12 h), the readings of (now - window, now].
    suspect_below, fail_below
        MIN_VAR_WARN and MIN_VAR_FAIL, in the series' unit; `fail_below` is the smaller.
    method
        "range" (largest less smallest) or "deviation" (standard deviation of all readings).
    fewest
        With fewer readings in the window there is no verdict.
    """

    window_us: int
    suspect_below: float
    fail_below: float | None = None
    method: str = "range"
    fewest: int = 2

    def __post_init__(self) -> None:
        _check_window("attenuated signal", self.window_us, least_us=1)
        if not self.suspect_below > 0:
            raise ValueError(f"attenuated signal: suspect below {self.suspect_below:g} never happens")
        if self.fail_below is not None and not 0 < self.fail_below <= self.suspect_below:
            raise ValueError("attenuated signal needs 0 < fail_below <= suspect_below")
        if self.method not in ATTENUATION_METHODS:
            raise ValueError(
                f"attenuated signal by {self.method!r} is none of {', '.join(ATTENUATION_METHODS)}"
            )
        if self.fewest < 1:
            raise ValueError(f"attenuated signal of {self.fewest} readings: 1 at least")


@dataclass(frozen=True, slots=True)
class CompanionLimits:
    """When a series has moved and its companion has not. QARTOD tests 9 (another quantity) and 11 (the same).

    Parameters
    ----------
    companion
        Name of the other series of the tank.
    deviations, companion_deviations
        Each has moved if its change is more than so many of its own standard deviations (the manual's 2).
    window_us
        TIM_DEV of the manual, over which these are taken.
    least_change
        A change up to this is no move.
    """

    companion: str
    deviations: float = 2.0
    companion_deviations: float = 2.0
    window_us: int = 25 * HOUR_US
    least_change: float = 0.0

    def __post_init__(self) -> None:
        if not (self.deviations > 0 and self.companion_deviations > 0):
            raise ValueError(f"beside {self.companion}: more than no deviations are needed")
        if self.least_change < 0:
            raise ValueError(f"beside {self.companion}: least change {self.least_change:g} is negative")
        _check_window(f"beside {self.companion}", self.window_us)


@dataclass(frozen=True, slots=True)
class GapLimits:
    """Longest time between two readings; a longer one FAILS the reading that ends it. QARTOD test 1."""

    fail_after_us: int


@dataclass(frozen=True, slots=True)
class LimitAlarm:
    """One limit that rings when a value has been beyond it for `on_delay_us`.

    A high alarm (`is_high`) is on while value > setpoint and off while value < setpoint - deadband;
    a low alarm mirrors that. `is_danger` marks the line to which projections run. `cause` is a code of
    `rules.causes.CAUSES` that says more than the side of the line, None where nothing more is known.
    """

    setpoint: float
    is_high: bool
    is_danger: bool
    deadband: float
    on_delay_us: int
    off_delay_us: int
    priority: Priority
    cause: str | None = None


@dataclass(frozen=True, slots=True)
class RateAlarm:
    """Rings when the robust slope over `window_us` is beyond +/- `per_hour` for `on_delay_us`."""

    per_hour: float
    window_us: int
    on_delay_us: int
    off_delay_us: int
    priority: Priority


@dataclass(frozen=True, slots=True)
class SeriesRules:
    """What is known and wanted of one series. `quantity` is a name of `rules.quantities.QUANTITIES`."""

    tank: str
    name: str
    quantity: str
    gross_range: GrossRangeLimits | None = None
    spike: SpikeLimits | None = None
    rate_of_change: RateOfChangeLimits | None = None
    flat_line: FlatLineLimits | None = None
    gap: GapLimits | None = None
    climatology: ClimatologyLimits | None = None
    attenuated_signal: AttenuatedSignalLimits | None = None
    multivariate: CompanionLimits | None = None
    neighbor: CompanionLimits | None = None
    limit_alarms: tuple[LimitAlarm, ...] = ()
    rate_alarm: RateAlarm | None = None
    probe_priority: Priority = Priority.HIGH

    def danger_line(self, *, is_high: bool) -> float | None:
        """The setpoint of the danger alarm on that side, if there is one."""
        for alarm in self.limit_alarms:
            if alarm.is_danger and alarm.is_high == is_high:
                return alarm.setpoint
        return None


@dataclass(frozen=True, slots=True)
class TankRules:
    """One tank: its time zone (IANA name), volume in litres, and what equipment hangs on it.

    `equipment` holds words such as "heater", "chiller", "top_off"; a fault is looked for only where
    there is equipment that can have it. `faults` overrides parameters of faults: code -> key -> value
    in canonical units, rates per hour, durations in microseconds. `roles` names series for the roles of
    `rules.roles`, where they do not have them by their names.
    """

    name: str
    time_zone: str = "UTC"
    volume_litres: float | None = None
    equipment: frozenset[str] = frozenset()
    faults: Mapping[str, Mapping[str, float]] = field(default_factory=lambda: MappingProxyType({}))
    roles: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True, slots=True)
class EngineRules:
    """All tanks and series that one engine watches.

    `allowance_us`: rules over several series look at instants this far behind the newest reading, so
    that boards which publish a little apart are read together (design value 5 s).
    """

    tanks: tuple[TankRules, ...]
    series: tuple[SeriesRules, ...]
    allowance_us: int = 5 * MICROSECONDS
