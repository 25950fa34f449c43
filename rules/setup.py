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
    """Distance from the mean of both neighbours; more is SUSPECT or FAIL. QARTOD test 6 (average method)."""

    suspect: float | None = None
    fail: float | None = None


@dataclass(frozen=True, slots=True)
class RateOfChangeLimits:
    """Change between neighbouring readings, in the series' unit per hour; more is SUSPECT. QARTOD test 7."""

    suspect_per_hour: float


@dataclass(frozen=True, slots=True)
class FlatLineLimits:
    """How long values may stay within `tolerance` (a span equal to it counts as flat). QARTOD test 8.

    Elapsed time, not counts, so that a changed sampling interval changes no flag.
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
class GapLimits:
    """Longest time between two readings; a longer one FAILS the reading that ends it. QARTOD test 1."""

    fail_after_us: int


@dataclass(frozen=True, slots=True)
class LimitAlarm:
    """One limit that rings when a value has been beyond it for `on_delay_us`.

    A high alarm (`is_high`) is on while value > setpoint and off while value < setpoint - deadband;
    a low alarm mirrors that. `is_danger` marks the line to which projections run.
    """

    setpoint: float
    is_high: bool
    is_danger: bool
    deadband: float
    on_delay_us: int
    off_delay_us: int
    priority: Priority


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
