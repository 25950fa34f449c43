"""One alarm's life from raised to normal again, after ISA-18.2 / IEC 62682.

Theory of operation
-------------------
An alarm remembers two things: whether its condition is there, and whether somebody has seen it. A class of
alarms that latch remembers a third: that the condition was there, until somebody resets it. `TRANSITIONS`
and `LATCHING` say what each step makes of each state; a step that a state does not list leaves it as it is.
To acknowledge means "seen", not "mended".

Three kinds of hold keep an alarm from being annunciated, each apart from the others: a person shelves it
(for a time, never for ever), planned work suppresses it by design, or it is taken out of service. Its
condition is still followed meanwhile. When the last hold ends, the live condition says what is next: an
alarm whose condition is there begins anew, unacknowledged.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from types import MappingProxyType

from rules.setup import HOUR_US

# Nobody forgets for longer what was shelved for the night.
LONGEST_SHELF_US = 24 * HOUR_US


class AlarmState(StrEnum):
    """What an alarm is shown as; the words of the standards."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED_UNACKNOWLEDGED = "returned to normal, unacknowledged"
    LATCHED_UNACKNOWLEDGED = "latched, unacknowledged"
    LATCHED = "latched"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed by design"
    OUT_OF_SERVICE = "out of service"


class Step(StrEnum):
    """What can happen to an alarm that is not held."""

    RAISE = "raise"
    """The condition has held for the on-delay."""
    RETURN = "return"
    """The condition has been gone for the off-delay."""
    ACKNOWLEDGE = "acknowledge"
    """Somebody has seen it."""
    RESET = "reset"
    """Somebody lets go of what is latched."""
    REALARM = "re-alarm"
    """It has become worse while it was there: what was seen is no longer what is so."""


_S = AlarmState
TRANSITIONS: Mapping[tuple[AlarmState, Step], AlarmState] = MappingProxyType(
    {
        (_S.NORMAL, Step.RAISE): _S.UNACKNOWLEDGED,
        (_S.UNACKNOWLEDGED, Step.ACKNOWLEDGE): _S.ACKNOWLEDGED,
        (_S.UNACKNOWLEDGED, Step.RETURN): _S.RETURNED_UNACKNOWLEDGED,
        (_S.ACKNOWLEDGED, Step.RETURN): _S.NORMAL,
        (_S.ACKNOWLEDGED, Step.REALARM): _S.UNACKNOWLEDGED,
        (_S.RETURNED_UNACKNOWLEDGED, Step.ACKNOWLEDGE): _S.NORMAL,
        (_S.RETURNED_UNACKNOWLEDGED, Step.RAISE): _S.UNACKNOWLEDGED,
    }
)
LATCHING: Mapping[tuple[AlarmState, Step], AlarmState] = MappingProxyType(
    {
        (_S.NORMAL, Step.RAISE): _S.UNACKNOWLEDGED,
        (_S.UNACKNOWLEDGED, Step.ACKNOWLEDGE): _S.ACKNOWLEDGED,
        (_S.UNACKNOWLEDGED, Step.RETURN): _S.LATCHED_UNACKNOWLEDGED,
        (_S.ACKNOWLEDGED, Step.RETURN): _S.LATCHED,
        (_S.ACKNOWLEDGED, Step.REALARM): _S.UNACKNOWLEDGED,
        (_S.LATCHED_UNACKNOWLEDGED, Step.ACKNOWLEDGE): _S.LATCHED,
        (_S.LATCHED_UNACKNOWLEDGED, Step.RAISE): _S.UNACKNOWLEDGED,
        (_S.LATCHED, Step.RESET): _S.NORMAL,
        (_S.LATCHED, Step.RAISE): _S.UNACKNOWLEDGED,
    }
)
HOLDS = (AlarmState.OUT_OF_SERVICE, AlarmState.SHELVED, AlarmState.SUPPRESSED)


@dataclass(frozen=True, slots=True)
class Hold:
    """Why an alarm is not annunciated: which kind of hold, until when, who holds it, and why.

    `until_us` is None for what has no end of its own: suppression by design ends with the work, and out of
    service with the repair.
    """

    kind: AlarmState
    from_us: int
    until_us: int | None
    who: str
    why: str

    def __post_init__(self) -> None:
        if self.kind not in HOLDS:
            raise ValueError(
                f"{self.kind.value!r} holds no alarm: {', '.join(one.value for one in HOLDS)} do"
            )
        if self.kind is AlarmState.SHELVED:
            if self.until_us is None or not 0 < self.until_us - self.from_us <= LONGEST_SHELF_US:
                raise ValueError(
                    "an alarm is shelved until an instant behind its beginning and within "
                    f"{LONGEST_SHELF_US // HOUR_US} h of it, not until {self.until_us}"
                )
        elif self.until_us is not None and self.until_us <= self.from_us:
            raise ValueError(f"a hold ends behind its beginning at {self.from_us}, not at {self.until_us}")


@dataclass(frozen=True, slots=True)
class AlarmLife:
    """Where an alarm is in its life. `state` is what it is shown as; see the module.

    `followed` is the state beneath the holds. While there is one, `followed` is NORMAL or UNACKNOWLEDGED as
    the condition is.
    """

    followed: AlarmState = AlarmState.NORMAL
    is_active: bool = False
    is_latching: bool = False
    holds: tuple[Hold, ...] = ()

    @property
    def state(self) -> AlarmState:
        """The state that is shown: that of the strongest hold, if there is one."""
        held = {hold.kind for hold in self.holds}
        return next((kind for kind in HOLDS if kind in held), self.followed)

    def after(self, step: Step) -> AlarmLife:
        """What a step makes of it; the same where the state does not know the step."""
        is_active = step is Step.RAISE or (self.is_active and step is not Step.RETURN)
        if self.holds:
            return replace(self, is_active=is_active, followed=_live(is_active))
        table = LATCHING if self.is_latching else TRANSITIONS
        return replace(self, is_active=is_active, followed=table.get((self.followed, step), self.followed))

    def held(self, hold: Hold) -> AlarmLife:
        """With a hold, in place of one of the same kind."""
        others = tuple(one for one in self.holds if one.kind is not hold.kind)
        return replace(self, holds=(*others, hold), followed=_live(self.is_active))

    def released(self, kind: AlarmState) -> AlarmLife:
        """Without a hold of that kind; the live condition says what is next when none is left."""
        left = tuple(one for one in self.holds if one.kind is not kind)
        return self if len(left) == len(self.holds) else replace(self, holds=left)

    def at(self, time_us: int) -> AlarmLife:
        """With holds ended whose end has come."""
        left = tuple(one for one in self.holds if one.until_us is None or one.until_us > time_us)
        return self if len(left) == len(self.holds) else replace(self, holds=left)

    @property
    def wakes_us(self) -> int | None:
        """When the next hold ends by itself; None if none does."""
        return min((one.until_us for one in self.holds if one.until_us is not None), default=None)


def is_annunciated(before: AlarmLife, now: AlarmLife) -> bool:
    """Whether a person must be told now: it has become unacknowledged as it is shown."""
    return now.state is AlarmState.UNACKNOWLEDGED and before.state is not AlarmState.UNACKNOWLEDGED


def _live(is_active: bool) -> AlarmState:
    return AlarmState.UNACKNOWLEDGED if is_active else AlarmState.NORMAL
