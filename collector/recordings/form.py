"""What a file does not say of itself: how its times are written, where it lies, in which units it is."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from collector.configuration import SeriesConfiguration
from collector.errors import ConfigError

# unit spelling or None, series -> how its values become canonical ones (NumPy arrays or numbers)
Converters = Callable[[str | None, SeriesConfiguration], Callable[[float], float]]
# word, series -> 0.0 or 1.0
States = Callable[[str, SeriesConfiguration], float]


@dataclass(frozen=True, slots=True)
class Form:
    """How files are to be read.

    Parameters
    ----------
    zone
        IANA name of the time zone of times that bring no offset; without it such times are bad.
    time_format
        As `datetime.strptime` takes it; without it RFC 3339 and Unix seconds are read.
    time_column
        Name of the column that holds the time; `time`, `timestamp` or `observed_at` without it.
    units
        Unit of a series, by its name as the file has it, where the file does not say.

    Raises
    ------
    ConfigError
        If there is no such time zone, or the format names no year, month and day.
    """

    zone: str | None = None
    time_format: str | None = None
    time_column: str | None = None
    units: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))

    def __post_init__(self) -> None:
        if self.zone is not None:
            try:
                ZoneInfo(self.zone)
            except (ZoneInfoNotFoundError, ValueError) as error:
                raise ConfigError(
                    f"there is no time zone {self.zone!r}: give its IANA name, such as Europe/Lisbon or UTC"
                ) from error
        form = self.time_format
        if form is not None and not any(all(one in form for one in ymd) for ymd in _DATES):
            raise ConfigError(
                f"the time format {form!r} names no year, month and day: such as '%d.%m.%Y %H:%M'"
            )

    @property
    def wanted(self) -> str:
        """What a time must be."""
        if self.time_format is not None:
            return f"in the form {self.time_format!r}"
        if self.zone is not None:
            return "RFC 3339, nor Unix seconds"
        return "RFC 3339 with an offset, nor Unix seconds"


_DATES = (
    ("%Y", "%m", "%d"),
    ("%y", "%m", "%d"),
    ("%Y", "%b", "%d"),
    ("%y", "%b", "%d"),
    ("%Y", "%j"),
)
