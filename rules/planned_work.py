"""Planned work: what a keeper announces, and what each kind of it disturbs.

Work on the tank moves what is watched, and nobody wants a ring for what his own hands do. So the alarms
that a kind of work disturbs are suppressed by design (ISA-18.2) from its beginning to the end of its
settle time: they neither begin nor end. All others stay live; those of `NEVER_SUPPRESSED` whatever the
work, for they tell of danger. The one exception: danger lines of a probe that is itself in a buffer or in
hand, which shows anything but the water.

What each kind disturbs, and how long the water takes to come to rest, is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from types import MappingProxyType
from typing import NamedTuple

from rules.events import AlarmKey, Sign
from rules.setup import HOUR_US

_MINUTE_US = HOUR_US // 60
# Who works longer has taken the tank out of service; a forgotten end must not silence it for days.
LONGEST_WORK_US = 24 * HOUR_US
# How long what is usual stays widened, and what the work moved is left out of slopes and habits.
RESETTLE_US = 24 * HOUR_US

# Too hot kills within hours, and no work makes a heater stick; a board that is lost leaves the tank
# unwatched; water on the floor is water on the floor.
NEVER_SUPPRESSED = frozenset(
    {
        "heater_stuck_on",
        "device_offline",
        "contact_alarm",
        "under_danger_line",
        "over_danger_line",
    }
)
# A probe that is out of the water is put back within this time behind the end of the work, and nobody works
# on one for longer than so: then its danger lines are live again, whatever was announced.
_BACK_IN_US = 10 * _MINUTE_US
_LONGEST_OUT_US = 2 * HOUR_US
# What was seen by these means is so whatever the hands do: a wet floor contact names a leak at once, and
# boards that fall silent together name the mains; pumps and heaters that stand still are the work itself.
UNDISTURBED_SIGNS = frozenset({Sign.CONTACT, Sign.SILENCE})
# Quality tests that ask how water moves; the others ask what a sensor and a line can do.
DISTURBED_TESTS = ("spike", "rate_of_change", "flat_line", "climatology", "attenuated_signal", "multivariate")


@dataclass(frozen=True, slots=True)
class WorkKind:
    """A kind of work.

    Parameters
    ----------
    name
        Its code.
    meaning
        What is done, in plain words.
    quantities
        What it moves: limits that are no danger lines, rates and the quality tests of `DISTURBED_TESTS`
        are suppressed for series of these.
    causes
        Faults, and alarms of probes, that are suppressed.
    settle_us
        How long the water takes to come to rest behind it.
    taken_out
        Quantities whose probes stand in something else meanwhile, so that even a danger line tells nothing of
        the water. Never temperature and level: these two can kill within the hour.
    """

    name: str
    meaning: str
    quantities: frozenset[str]
    causes: frozenset[str]
    settle_us: int
    taken_out: frozenset[str] = frozenset()


_SALT = ("practical_salinity", "conductivity", "specific_conductance")
_OUT = frozenset({"ph", *_SALT, "redox_potential", "dissolved_oxygen"})
_HEAT = ("heater_failed_off", "heater_weak", "cooling_lost")
_WATER = ("top_off_overdose", "top_off_failed", "leak", "circulation_stopped")
_PROBE = ("probe_stuck", "probe_dry", "probe_noisy", "probe_drifting")
# Pumps and heaters are unplugged while hands are in the water, as they should be.
_LOADS = ("mains_power_lost",)
# Who lifts a probe may pull its plug.
_UNPLUGGED = ("probe_silent", "probe_out_of_range")

KINDS = MappingProxyType(
    {
        kind.name: kind
        for kind in (
            WorkKind(
                "feeding_pause",
                "pumps stand while the animals eat; the sump fills from the display",
                frozenset({"water_level", "volume", "flow", "power", "state"}),
                frozenset({*_WATER, *_LOADS, "probe_noisy"}),
                20 * _MINUTE_US,
            ),
            WorkKind(
                "water_change",
                "water of another temperature and salinity takes the place of some",
                frozenset(
                    {
                        "temperature",
                        "ph",
                        *_SALT,
                        "water_level",
                        "volume",
                        "flow",
                        "power",
                        "state",
                        "alkalinity",
                        "redox_potential",
                        "dissolved_oxygen",
                    }
                ),
                frozenset({*_HEAT, *_WATER, *_LOADS, *_PROBE}),
                HOUR_US,
            ),
            WorkKind(
                "dosing_pause",
                "limewater, reactor or dosing stand still, or make up for it afterwards",
                frozenset({"ph", "alkalinity", "redox_potential", "power", "state"}),
                frozenset({"reactor_off_band", "probe_drifting"}),
                HOUR_US,
            ),
            WorkKind(
                "probe_cleaning",
                "probes are lifted out of the water, cleaned and put back",
                frozenset(
                    {
                        "temperature",
                        "ph",
                        *_SALT,
                        "water_level",
                        "volume",
                        "redox_potential",
                        "dissolved_oxygen",
                        "flow",
                    }
                ),
                frozenset({*_HEAT, *_WATER, *_PROBE, *_UNPLUGGED, "reactor_off_band"}),
                HOUR_US // 2,
                _OUT,
            ),
            WorkKind(
                "calibration",
                "probes stand in buffers and standards, and read otherwise from then on",
                frozenset({"ph", *_SALT, "redox_potential", "dissolved_oxygen"}),
                frozenset(
                    {"top_off_overdose", "top_off_failed", "leak", "reactor_off_band", *_PROBE, *_UNPLUGGED}
                ),
                HOUR_US // 2,
                _OUT,
            ),
            WorkKind(
                "equipment_service",
                "heaters, pumps, chiller or fans are unplugged, cleaned or changed",
                frozenset({"temperature", "water_level", "volume", "flow", "power", "state"}),
                frozenset({*_HEAT, *_WATER, *_LOADS, "probe_noisy", "reactor_off_band"}),
                HOUR_US,
            ),
        )
    }
)


@dataclass(frozen=True, slots=True, order=True)
class PlannedWork:
    """Work on a tank of a kind of `KINDS`, from an instant to another, microseconds since 1970 UTC.

    Raises
    ------
    ValueError
        If the kind is not known, the end is not behind the beginning, or it lasts longer than a day.
    """

    tank: str
    kind: str
    from_us: int
    to_us: int

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"planned work {self.kind!r} is not known: one of {', '.join(KINDS)}")
        if not self.from_us < self.to_us:
            raise ValueError(f"planned work {self.kind} ends before it begins: give an end behind its start")
        if self.to_us - self.from_us > LONGEST_WORK_US:
            hours = (self.to_us - self.from_us) / HOUR_US
            raise ValueError(
                f"planned work {self.kind} lasts {hours:.0f} h, 24 h at most: plan each day of its own"
            )

    @property
    def settled_us(self) -> int:
        """The instant at which the water is at rest again: nothing is suppressed from here on."""
        return self.to_us + KINDS[self.kind].settle_us

    @property
    def forgotten_us(self) -> int:
        """The instant from which nothing of it is left: it may be forgotten."""
        return self.settled_us + RESETTLE_US

    def disturbs(self, quantity: str) -> bool:
        """Whether it moves that quantity."""
        return quantity in KINDS[self.kind].quantities

    def suppresses(self, cause: str) -> bool:
        """Whether alarms of that cause are suppressed by design."""
        return cause in KINDS[self.kind].causes


class Span(NamedTuple):
    """A stretch of time, [from_us, to_us), in which something is suppressed by design."""

    from_us: int
    to_us: int


def spans_out(works: Iterable[PlannedWork], quantity: str) -> tuple[Span, ...]:
    """Stretches in which the probes of a quantity are out of the water: their danger lines tell nothing."""
    return tuple(
        sorted(
            Span(work.from_us, min(work.to_us + _BACK_IN_US, work.from_us + _LONGEST_OUT_US))
            for work in works
            if quantity in KINDS[work.kind].taken_out
        )
    )


def spans(works: Iterable[PlannedWork]) -> tuple[Span, ...]:
    """Stretches from the beginning of each work to the end of its settle time, in order of time."""
    return tuple(sorted(Span(work.from_us, work.settled_us) for work in works))


@dataclass(frozen=True, slots=True)
class Suppressed:
    """An alarm whose condition was seen during planned work, which suppresses it by design until `to_us`.

    `first_us` and `last_us` are when it was seen first and last.
    """

    alarm: AlarmKey
    first_us: int
    last_us: int
    to_us: int
