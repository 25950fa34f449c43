"""What an engine said of a plain tank."""

from __future__ import annotations

from dataclasses import dataclass, field

from rules import AlarmRaised, AlarmReturned


@dataclass
class Told:
    """Alarms that were raised and that returned, each with its hours since the fault."""

    raised: list[tuple[float, AlarmRaised]] = field(default_factory=list)
    returned: list[tuple[float, AlarmReturned]] = field(default_factory=list)

    @property
    def causes(self) -> list[str]:
        """Causes in the order in which they were raised."""
        return [event.alarm.cause for _, event in self.raised]

    def of(self, series: str) -> list[str]:
        """The same of one series."""
        return [event.alarm.cause for _, event in self.raised if event.alarm.series == series]

    def first(self, cause: str) -> tuple[float, AlarmRaised]:
        """When a cause was first raised, and the event."""
        return next((hours, event) for hours, event in self.raised if event.alarm.cause == cause)
