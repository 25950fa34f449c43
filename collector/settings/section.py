"""One table of the file while it is resolved: turns its texts into numbers, and notes what is wrong.

Whatever is wrong comes out as None, so that resolving goes on and the next mistake is found as well.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from collector.errors import BrinebellError, ConfigError
from collector.settings.keys import like_at
from collector.settings.mistakes import Mistakes, Path
from collector.units import parse_duration, parse_quantity, parse_rate
from rules import MICROSECONDS

# Names become levels of topics, parts of variables of the environment and addresses of pages.
_NAME = re.compile(r"[a-z][a-z0-9_]*")
_NAME_NEEDED = "a name is small letters, digits and _, and begins with a letter"


@dataclass(frozen=True, slots=True)
class Section:
    """The table at `path`; keys are given relative to it."""

    mistakes: Mistakes
    path: Path = ()

    def at(self, *parts: str | int) -> Section:
        """A table within this one."""
        return Section(self.mistakes, (*self.path, *parts))

    def wrong(self, key: str, mend: str, value: object = None) -> None:
        """Note a mistake at one of its keys."""
        self.mistakes.add((*self.path, key) if key else self.path, mend, value=value)

    def own_name(self) -> None:
        """Note a mistake unless the name of this table, chosen by the keeper, can be a name."""
        if not _NAME.fullmatch(str(self.path[-1])):
            self.wrong("", _NAME_NEEDED)

    def name(self, key: str, name: str) -> None:
        """Note a mistake unless the value of a key can be a name."""
        if not _NAME.fullmatch(name):
            self.wrong(key, _NAME_NEEDED, name)

    def title(self, title: str | None) -> str:
        """The title, or else the name of this table in words."""
        return title or str(self.path[-1]).replace("_", " ").capitalize()

    def quantity(
        self, key: str, text: str | None, quantity: str, *, difference: bool = False
    ) -> float | None:
        """A value, or a difference of two, in the canonical unit of a quantity."""
        if text is None:
            return None
        try:
            return parse_quantity(text, quantity, difference=difference)
        except ConfigError as error:
            self.not_read(key, text, error)
            return None

    def above_zero(self, key: str, text: str | None, quantity: str) -> float | None:
        """As `quantity`, of a difference that must be more than nothing."""
        value = self.quantity(key, text, quantity, difference=True)
        if value is not None and not value > 0:
            self.wrong(key, "more than nothing is needed", text)
            return None
        return value

    def rate(self, key: str, text: str | None, quantity: str) -> float | None:
        """A change, in the canonical unit of a quantity per hour."""
        if text is None:
            return None
        try:
            value = parse_rate(text, quantity)
        except ConfigError as error:
            self.not_read(key, text, error)
            return None
        if not value > 0:
            self.wrong(key, "more than nothing is needed", text)
            return None
        return value

    def number(self, key: str, text: str | None) -> float | None:
        """A number without a unit, above nothing."""
        if text is None:
            return None
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not (math.isfinite(value) and value > 0):
            self.wrong(key, f"a number above nothing is needed{self._such_as(key)}", text)
            return None
        return value

    def duration(
        self, key: str, text: str | None, *, least_s: float = 0, most_s: float | None = None
    ) -> int | None:
        """A time in microseconds within bounds given in seconds."""
        if text is None:
            return None
        try:
            value_us = parse_duration(text)
        except ConfigError as error:
            self.not_read(key, text, error)
            return None
        if value_us < least_s * MICROSECONDS or (most_s is not None and value_us > most_s * MICROSECONDS):
            most = "" if most_s is None else f" and at most {most_s:g} s"
            self.wrong(key, f"at least {least_s:g} s{most} is needed", text)
            return None
        return value_us

    def pair(self, key: str, texts: Sequence[str] | None, quantity: str) -> tuple[float, float] | None:
        """A low and a high value."""
        if texts is None:
            return None
        if len(texts) != 2:
            self.wrong(key, f"two values are needed, the lower first{self._such_as(key)}", list(texts))
            return None
        low, high = (self.quantity(key, text, quantity) for text in texts)
        if low is None or high is None:
            return None
        if not low < high:
            self.wrong(key, "the lower value comes first, and the two differ", list(texts))
            return None
        return low, high

    def not_read(self, key: str, text: str, error: BrinebellError) -> None:
        """Note what a parser said of a value; the value itself is told already."""
        told = str(error).removeprefix(f'"{text}"').removeprefix(":").lstrip()
        self.wrong(key, told, text)

    def _such_as(self, key: str) -> str:
        like = like_at((*self.path, key))
        return f" (such as {like})" if like else ""
