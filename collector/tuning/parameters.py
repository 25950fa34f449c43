"""A key of the configuration and the values to try for it, as people write them."""

from __future__ import annotations

import re
from dataclasses import dataclass

from collector.errors import ConfigError

_NUMBER = re.compile(r"\s*([+-]?\d+(?:\.\d+)?)\s*(.*?)\s*")
_EXAMPLE = "tanks.reef.series.temperature.alarm_low=23 degC..24.5 degC"
_FEWEST, _MOST = 2, 1000


@dataclass(frozen=True, slots=True)
class Parameter:
    """A key, by its tables, and the values to try for it in order, as they are written in the file."""

    path: tuple[str, ...]
    values: tuple[str, ...]

    @property
    def key(self) -> str:
        """The key with its tables, as people write it."""
        return ".".join(self.path)


def parse_parameter(text: str, steps: int) -> Parameter:
    """Read "KEY=FIRST..LAST" (so many `steps`, both ends included) or "KEY=ONE, ANOTHER".

    Raises
    ------
    ConfigError
        If it is neither.
    """
    key, equals, values = text.partition("=")
    path = tuple(part.strip() for part in key.split("."))
    if not equals or not all(path):
        raise ConfigError(f"--try {text!r} names no key and values: such as '{_EXAMPLE}'")
    if not _FEWEST <= steps <= _MOST:
        raise ConfigError(f"--steps {steps}: {_FEWEST} to {_MOST} values can be tried of a range")
    first, dots, last = values.partition("..")
    found = _range(text, first, last, steps) if dots else [one.strip() for one in values.split(",")]
    found = list(dict.fromkeys(found))
    if not all(found) or len(found) < _FEWEST:
        raise ConfigError(f"--try {text!r} names no two values: such as '{_EXAMPLE}'")
    return Parameter(path, tuple(found))


def _range(text: str, first: str, last: str, steps: int) -> list[str]:
    begin, end = _NUMBER.fullmatch(first), _NUMBER.fullmatch(last)
    if begin is None or end is None or begin[2] not in ("", end[2]):
        raise ConfigError(f"--try {text!r}: a range has two numbers of one unit: such as '{_EXAMPLE}'")
    low, high = float(begin[1]), float(end[1])
    digits = max(_digits(begin[1]), _digits(end[1]), _digits(f"{(high - low) / (steps - 1):.2g}"))
    numbers = [low + (high - low) * step / (steps - 1) for step in range(steps)]
    return [f"{number:.{digits}f} {end[2]}".strip() for number in numbers]


def _digits(number: str) -> int:
    return len(number.partition(".")[2])
