"""Mistakes in the configuration, collected so that all are told together, each with key, value and mend."""

from __future__ import annotations

import json
from typing import NamedTuple

from collector.errors import ConfigError

Path = tuple[str | int, ...]

_LONGEST_VALUE = 60
_PASSWORD = (("mqtt", "password"), ("mqtt", "password_file"))


def key_text(path: Path) -> str:
    """Write the path of a key as people say it: `tanks.reef.series.ph.gap`, `sources[0].topic`."""
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part}]"
        else:
            text += f".{part}" if text else part
    return text


def holds_secret(path: Path) -> bool:
    """Whether a value at this path, or within it, may be a secret and must never be shown."""
    # Names of files count: whoever writes the secret in their place would find it in the log.
    return path[:1] == ("people",) or path == ("mqtt",) or path[:2] in _PASSWORD


class Mistake(NamedTuple):
    """One mistake: the key, its value as text (empty where there is none or it is secret), the mend."""

    key: str
    value: str
    mend: str

    def __str__(self) -> str:
        return f"{self.key}{' = ' if self.value else ''}{self.value}: {self.mend}"


class Mistakes:
    """A list of mistakes in one file, in the order in which they were found."""

    def __init__(self, file: str) -> None:
        self._file = file
        self._found: dict[Mistake, None] = {}

    def __len__(self) -> int:
        return len(self._found)

    def add(self, path: Path, mend: str, *, value: object = None) -> None:
        """Note a mistake at a key; a value is shown, shortened, unless it may be secret."""
        shown = "" if value is None or holds_secret(path) else _shown(value)
        self._found[Mistake(key_text(path), shown, mend)] = None

    def raise_any(self) -> None:
        """Raise a ConfigError that tells all of them, one a line, if there are any."""
        if not self._found:
            return
        count = "one mistake" if len(self) == 1 else f"{len(self)} mistakes"
        lines = [f"{count} in {self._file}", *(f"  {mistake}" for mistake in self._found)]
        raise ConfigError("\n".join(lines))


def _shown(value: object) -> str:
    try:
        text = json.dumps(value, ensure_ascii=False)
    except (TypeError, ValueError):
        text = str(value)
    text = text.replace("\n", " ")
    return text if len(text) <= _LONGEST_VALUE else f"{text[:_LONGEST_VALUE]}..."
