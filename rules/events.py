"""What the engine says: alarms raised and returned to normal, and the incidents they form.

Every event bears the instant at which its condition was fulfilled, never the instant at which it was
noticed. Store, delivery, pages and replay all read these same values; none asks the engine for more.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum


class Priority(StrEnum):
    """How soon a person must act: `urgent` wakes, `high` is told at once by day, `low` can wait."""

    URGENT = "urgent"
    HIGH = "high"
    LOW = "low"

    @property
    def rank(self) -> int:
        """0 for low, 1 for high, 2 for urgent."""
        return ("low", "high", "urgent").index(self.value)


@dataclass(frozen=True, slots=True)
class AlarmKey:
    """What tells one alarm from another.

    `series` is the name of the series within its tank, or of the board for `device_offline`.
    `cause` is a code of `rules.causes.CAUSES`.
    """

    tank: str
    series: str
    cause: str


class Sign(StrEnum):
    """What kind of thing a reason is; its value is in the unit that is said here."""

    LEVEL = "level"
    """A value against limits, in the unit of the series."""
    BAND = "band"
    """A value against what is usual at this hour, in the unit of the series."""
    SLOPE = "slope"
    """A robust slope, in the unit of the series per hour."""
    CHANGE = "change"
    """A difference between two stretches of time, in the unit of the series."""
    DRIFT = "drift"
    """A slow one-sided change over days, in the unit of the series."""
    NEIGHBOR = "neighbor"
    """A difference from a second probe of the same water, in the unit of the series."""
    NOISE = "noise"
    """A standard deviation of neighbouring readings, in the unit of the series."""
    FLAT = "flat"
    """A value that does not change, in the unit of the series."""
    POWER = "power"
    """The power of a piece of equipment, W (or 0 and 1 where only its state is known)."""
    ROOM = "room"
    """The temperature of the room."""
    BALANCE = "balance"
    """What the balance of water or salt asks for, in the unit of the series per hour."""
    ALKALINITY = "alkalinity"
    """What limewater adds to the alkalinity of the tank, meq/L within `window_us`."""
    SILENCE = "silence"
    """Nothing heard, for so many hours."""
    CONTACT = "contact"
    """The state of a contact, 0 or 1."""


@dataclass(frozen=True, slots=True)
class Reason:
    """One thing that was seen: in which series, how much, against what, since when, over how long.

    `value`, `low` and `high` are in the unit that `sign` says; a side of the band is None where it has
    none. `speaks_against` marks what makes the cause less likely.
    """

    sign: Sign
    series: str
    value: float | None = None
    low: float | None = None
    high: float | None = None
    since_us: int | None = None
    window_us: int | None = None
    speaks_against: bool = False


@dataclass(frozen=True, slots=True)
class Rival:
    """Another cause that explains the same symptoms, and how sure it is."""

    cause: str
    confidence: float


@dataclass(frozen=True, slots=True)
class Evidence:
    """What an alarm is based on; None where a field has no meaning for its cause.

    Values and limits are in the canonical unit of the series, rates in that unit per hour, instants in
    microseconds since 1970 UTC.
    """

    value: float | None = None
    limit: float | None = None
    expected_low: float | None = None
    expected_high: float | None = None
    rate_per_hour: float | None = None
    since_us: int | None = None
    danger: float | None = None
    danger_at_us: int | None = None
    danger_earliest_us: int | None = None
    danger_latest_us: int | None = None
    confidence: float | None = None
    reasons: tuple[Reason, ...] = ()
    rivals: tuple[Rival, ...] = ()


@dataclass(frozen=True, slots=True)
class AlarmRaised:
    """An alarm's condition has held for its on-delay: it is active and unacknowledged.

    `concerns` names the series that the alarm is about, the first one foremost; alarms that share one
    belong together.
    """

    at_us: int
    alarm: AlarmKey
    priority: Priority
    first_evidence_us: int
    concerns: tuple[str, ...]
    evidence: Evidence = field(default_factory=Evidence)


@dataclass(frozen=True, slots=True)
class AlarmReturned:
    """An alarm's condition has been gone for its off-delay: it has returned to normal."""

    at_us: int
    alarm: AlarmKey
    value: float | None = None


@dataclass(frozen=True, slots=True)
class Incident:
    """Related alarms of one tank as the person meets them: one incident, one ring.

    `series` names the series concerned, that of the cause first. `alarms` are the alarms that
    joined it, in the order in which they did.
    """

    number: int
    tank: str
    cause: str
    series: tuple[str, ...]
    priority: Priority
    first_evidence_us: int
    alarmed_at_us: int
    ended_at_us: int | None
    evidence: Evidence
    alarms: tuple[AlarmKey, ...]


@dataclass(frozen=True, slots=True)
class IncidentOpened:
    """A new incident: it rings."""

    at_us: int
    incident: Incident


@dataclass(frozen=True, slots=True)
class IncidentUpdated:
    """More evidence joined an open incident; it rings again only if `worsened` (a higher priority)."""

    at_us: int
    incident: Incident
    worsened: bool


@dataclass(frozen=True, slots=True)
class IncidentEnded:
    """All alarms of an incident have returned to normal."""

    at_us: int
    incident: Incident


@dataclass(frozen=True, slots=True)
class FlagRevised:
    """A reading stored earlier with one test NOT_EVALUATED has its verdict now (a spike is judged one late).

    Only verdicts other than PASS are told; `primary` is the reading's primary flag from now on, and
    `tests` its packed flags (see `rules.quality.tests.pack`).
    """

    series: int
    observed_us: int
    primary: int
    tests: int


AlarmEvent = AlarmRaised | AlarmReturned
IncidentEvent = IncidentOpened | IncidentUpdated | IncidentEnded
Event = AlarmRaised | AlarmReturned | IncidentOpened | IncidentUpdated | IncidentEnded
