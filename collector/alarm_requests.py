"""What people ask about alarms, in the verbs of ISA-18.2; like every request, each is done once.

All of an incident, or alarms of a series: `incident` is its number, else `series` and `cause` say which.
Without a cause it is every alarm of the series. `why` is what the person says of it, if anything.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias


@dataclass(frozen=True, slots=True)
class OfAlarms:
    """Which alarms are meant. `tank` may be empty beside an incident's number, which says it."""

    tank: str
    incident: int | None = None
    series: str = ""
    cause: str = ""
    why: str = ""

    def __post_init__(self) -> None:
        if (self.incident is None) == (not self.series):
            raise ValueError("alarms are named by the number of an incident or by their series, one of both")
        if self.cause and not self.series:
            raise ValueError(f"the cause {self.cause!r} goes with a series")

    @property
    def what(self) -> str:
        """What is meant, in words."""
        if self.incident is not None:
            return f"incident {self.incident}"
        return f"{self.series}/{self.cause} in {self.tank}" if self.cause else f"{self.series} in {self.tank}"


@dataclass(frozen=True, slots=True)
class Acknowledge(OfAlarms):
    """Somebody has seen it and sees to it: nobody else is told, and nothing is repeated."""

    def __str__(self) -> str:
        return f"acknowledge {self.what}"


@dataclass(frozen=True, slots=True)
class Shelve(OfAlarms):
    """Put it off until an instant, None for the morning. What is still there then rings again."""

    until_us: int | None = None

    def __str__(self) -> str:
        return f"shelve {self.what}"


@dataclass(frozen=True, slots=True)
class Unshelve(OfAlarms):
    """End that at once."""

    def __str__(self) -> str:
        return f"unshelve {self.what}"


@dataclass(frozen=True, slots=True)
class Reset(OfAlarms):
    """Let go of what is latched: its condition was there, is gone, and has been looked into."""

    def __str__(self) -> str:
        return f"reset {self.what}"


@dataclass(frozen=True, slots=True)
class TakeOutOfService(OfAlarms):
    """A probe is being repaired: its alarms wake nobody until they are returned to service."""

    def __str__(self) -> str:
        return f"take {self.what} out of service"


@dataclass(frozen=True, slots=True)
class ReturnToService(OfAlarms):
    """The repair is over; what is wrong then is told."""

    def __str__(self) -> str:
        return f"return {self.what} to service"


@dataclass(frozen=True, slots=True)
class AnswerTestRing:
    """Somebody has heard the test ring; `person` is whose it was, empty for everybody's."""

    tank: str = ""
    person: str = ""

    def __str__(self) -> str:
        return f"answer the test ring of {self.person}" if self.person else "answer the test ring"


AboutAlarms: TypeAlias = (
    Acknowledge | Shelve | Unshelve | Reset | TakeOutOfService | ReturnToService | AnswerTestRing
)
