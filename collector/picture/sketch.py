"""What is on a picture, as plain values that go through a pipe as JSON: instants, values, and their words.

Instants are seconds since the left edge of the picture, values in the canonical unit of the series.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any, NamedTuple


class Tick(NamedTuple):
    """A value or an instant, and what is written there."""

    at: float
    text: str


class Point(NamedTuple):
    """A value at an instant."""

    at_s: float
    value: float


class Span(NamedTuple):
    """A range of values at an instant."""

    at_s: float
    low: float
    high: float


class Limit(NamedTuple):
    """A horizontal line; a danger line is drawn the stronger one."""

    value: float
    text: str
    is_high: bool
    is_danger: bool


class Projection(NamedTuple):
    """Where the value is going: when it reaches the danger line, at the earliest and at the latest."""

    at_s: float
    value: float
    earliest_s: float
    latest_s: float


@dataclass(frozen=True, slots=True)
class Sketch:
    """Everything that a picture shows.

    Parameters
    ----------
    title, newest, usual
        What is drawn and in which unit; the newest value; the usual band in words, "" for nothing to say.
    end_s, low, high
        What the axes cover; the one of time begins at 0.
    times, values
        Ticks of both axes.
    lines
        Runs of values, each without a gap.
    spread
        Lowest and highest value of each stretch that is one point of a line.
    band
        The usual band, empty while it is not known.
    limits, moments, projection
        Horizontal lines, vertical lines, and what is ahead.
    """

    title: str
    newest: str
    usual: str
    end_s: float
    low: float
    high: float
    times: tuple[Tick, ...] = ()
    values: tuple[Tick, ...] = ()
    lines: tuple[tuple[Point, ...], ...] = ()
    spread: tuple[Span, ...] = ()
    band: tuple[Span, ...] = ()
    limits: tuple[Limit, ...] = ()
    moments: tuple[Tick, ...] = ()
    projection: Projection | None = None

    def to_data(self) -> dict[str, Any]:
        """Return it as values that JSON has; `from_data` takes them."""
        return asdict(self)

    @classmethod
    def from_data(cls, data: Mapping[str, Any]) -> Sketch:
        """Make it of what `to_data` returned.

        Raises
        ------
        KeyError, TypeError
            If it was not that.
        """
        ahead = data["projection"]
        return cls(
            **{
                **data,
                "times": tuple(Tick(*one) for one in data["times"]),
                "values": tuple(Tick(*one) for one in data["values"]),
                "lines": tuple(tuple(Point(*one) for one in run) for run in data["lines"]),
                "spread": tuple(Span(*one) for one in data["spread"]),
                "band": tuple(Span(*one) for one in data["band"]),
                "limits": tuple(Limit(*one) for one in data["limits"]),
                "moments": tuple(Tick(*one) for one in data["moments"]),
                "projection": None if ahead is None else Projection(*ahead),
            }
        )
