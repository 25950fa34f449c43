"""What people call tanks, series and causes, and how a value of a series is shown.

Names that the configuration no longer holds (an old incident, a series taken out) stand for themselves.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from collector.axes import value_ticks
from collector.configuration import Configuration
from collector.display_units import CANONICAL, DisplayUnits
from collector.units.display import display, display_difference, resolution
from rules import CAUSES, QUANTITIES, TWO_STATE, SeriesRules

# The longest number that people write; beyond it stands a power of ten.
_LONGEST = 14
_BEFORE_UNIT = re.compile(
    r"(?<=\d) (?=(?:°C|°F|%|L|gal|cm|mm|in|W|mS/cm|meq/L|dKH|mV|mg/L|h|min)(?![^\W\d]))"
)


@dataclass(frozen=True, slots=True)
class SeriesLabel:
    """A series as a person meets it; `quantity` and `rules` are None if it is not configured."""

    tank: str
    name: str
    title: str
    quantity: str | None
    rules: SeriesRules | None
    units: DisplayUnits = CANONICAL

    @property
    def key(self) -> str:
        """Name of the series among those of all tanks, "reef/temperature"."""
        return f"{self.tank}/{self.name}"

    @property
    def is_two_state(self) -> bool:
        """Whether its values are words rather than numbers."""
        return self.quantity in TWO_STATE

    @property
    def unit(self) -> str | None:
        """Canonical unit, "" where the quantity has none."""
        return None if self.quantity is None else QUANTITIES[self.quantity]

    def show(self, value: float | None) -> str:
        """A value with its unit."""
        if value is None or not math.isfinite(value):
            return "not measured"
        text = f"{value:g}" if self.quantity is None else display(value, self.quantity, self.units)
        return text if len(text) <= _LONGEST else f"{value:.2e}"

    def show_rate(self, per_hour: float) -> str:
        """A rate with its unit."""
        if self.quantity is None or self.is_two_state:
            return f"{per_hour:.2g}/h"
        text = display_difference(per_hour, self.quantity, self.units)
        return f"{text if len(text) <= _LONGEST else f'{per_hour:.2e}'}/h"

    @property
    def resolution(self) -> float:
        """One unit of the last decimal that is shown, in the canonical unit."""
        return 1.0 if self.quantity is None else resolution(self.quantity, self.units)

    def show_difference(self, difference: float) -> str:
        """A difference of two values with its unit."""
        return self.show_rate(difference).removesuffix("/h")

    def ticks(self, low: float, high: float) -> list[float]:
        """Values in a range, a handful, which are round in the unit that is shown."""
        if self.quantity is None:
            return value_ticks(low, high, self.resolution)
        shown = self.units.of(self.quantity)
        ticks = value_ticks(shown.of(low), shown.of(high), 10.0**-shown.decimals)
        return [shown.back(value) for value in ticks]


class Labels:
    """Titles, time zones and rules by name."""

    def __init__(self, configuration: Configuration) -> None:
        self.configuration = configuration
        self._tanks = {tank.name: tank for tank in configuration.tanks}
        self.all_series = tuple(
            SeriesLabel(
                one.tank,
                one.name,
                _one_line(one.title) or plain(one.name),
                one.quantity,
                rules,
                configuration.units,
            )
            for one, rules in zip(configuration.series, configuration.engine.series, strict=True)
        )
        self._series = {(one.tank, one.name): one for one in self.all_series}

    @property
    def tanks(self) -> tuple[str, ...]:
        """Names of the tanks, in the order of the configuration."""
        return tuple(self._tanks)

    def tank_title(self, tank: str) -> str:
        """What people call a tank."""
        return _one_line(self._tanks[tank].title) or plain(tank) if tank in self._tanks else plain(tank)

    def time_zone(self, tank: str) -> str:
        """The tank's time zone; UTC for a tank that is not configured."""
        return self._tanks[tank].rules.time_zone if tank in self._tanks else "UTC"

    def series(self, tank: str, name: str) -> SeriesLabel:
        """A series, configured or not."""
        return self._series.get((tank, name)) or SeriesLabel(tank, name, plain(name), None, None)

    def is_configured(self, tank: str, name: str) -> bool:
        """Whether the configuration has this series."""
        return (tank, name) in self._series

    @staticmethod
    def cause(code: str) -> str:
        """What a person reads of a cause."""
        return CAUSES[code].title if code in CAUSES else plain(code).lower()


def together(text: str) -> str:
    """Keep numbers and their units on one line: the blank between them does not break."""
    return _BEFORE_UNIT.sub("\N{NO-BREAK SPACE}", text)


def plain(name: str) -> str:
    """A name of the configuration as words."""
    words = _one_line(name.replace("_", " "))
    return words[:1].upper() + words[1:] or "?"


def _one_line(text: str) -> str:
    return " ".join(text.split())
