"""Annotation files as `replay_data/README.md` describes them, read with errors that name key and value."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from collector.configuration import Configuration
from collector.errors import ConfigError
from collector.settings.suggestions import instead_of
from rules import CAUSES, MICROSECONDS, NO_CAUSES, Annotation

_KEYS = ("from", "to", "cause", "tank", "series", "ring_by", "note")


def read_annotations(path: Path, configuration: Configuration) -> tuple[Annotation, ...]:
    """Read one file, in order of time.

    Raises
    ------
    ConfigError
        If it cannot be read, or holds what no annotation is.
    """
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise ConfigError(f"{path}: cannot be read: {error}") from error
    except tomllib.TOMLDecodeError as error:
        raise ConfigError(f"{path}: is no TOML: {error}") from error
    for key in content.keys() - {"title", "annotation"}:
        raise ConfigError(f"{path}: {key}: there is no such key; {instead_of(key, ('title', 'annotation'))}")
    entries = content.get("annotation", [])
    if not isinstance(entries, list):
        raise ConfigError(f"{path}: annotation: must be a list of tables: write [[annotation]]")
    found = [
        _Entry(f"{path}: annotation {number}", entry, configuration).read()
        for number, entry in enumerate(entries, start=1)
    ]
    return tuple(sorted(found, key=lambda one: one.from_us))


class _Entry:
    """One `[[annotation]]`; `where` begins its errors."""

    def __init__(self, where: str, entry: Mapping[str, Any], configuration: Configuration) -> None:
        self._where, self._entry, self._configuration = where, entry, configuration

    def read(self) -> Annotation:
        if not isinstance(self._entry, Mapping):
            raise ConfigError(f"{self._where}: must be a table: write [[annotation]]")
        for key in self._entry.keys() - set(_KEYS):
            raise self._wrong(key, f"there is no such key; {instead_of(key, _KEYS)}")
        tank, from_us = self._tank(), self._instant("from")
        if from_us is None:
            raise self._wrong("from", "is missing: when did it begin?")
        to_us = self._instant("to")
        if to_us is not None and to_us <= from_us:
            raise self._wrong("to", "must be later than from")
        return Annotation(
            tank,
            self._cause(),
            from_us,
            to_us,
            self._series(tank),
            self._instant("ring_by"),
            self._text("note"),
        )

    def _wrong(self, key: str, why: str) -> ConfigError:
        value = f" = {self._entry[key]!r}" if key in self._entry else ""
        return ConfigError(f"{self._where}: {key}{value}: {why}")

    def _tank(self) -> str:
        tanks = [tank.name for tank in self._configuration.tanks]
        if "tank" not in self._entry and len(tanks) == 1:
            return tanks[0]
        tank = self._text("tank")
        if tank not in tanks:
            raise self._wrong("tank", f"the configuration has no such tank; {instead_of(tank, tanks)}")
        return tank

    def _cause(self) -> str:
        cause = self._text("cause")
        if cause not in CAUSES and cause not in NO_CAUSES:
            raise self._wrong("cause", f"there is no such cause; {instead_of(cause, (*CAUSES, *NO_CAUSES))}")
        return cause

    def _series(self, tank: str) -> tuple[str, ...]:
        names = self._entry.get("series", [])
        if not isinstance(names, list) or not all(isinstance(one, str) for one in names):
            raise self._wrong("series", 'must be a list of names, such as ["temperature"]')
        known = [one.name for one in self._configuration.series if one.tank == tank]
        for name in names:
            if name not in known:
                raise self._wrong("series", f"{tank} has no series {name!r}; {instead_of(name, known)}")
        return tuple(names)

    def _instant(self, key: str) -> int | None:
        value = self._entry.get(key)
        if value is None:
            return None
        if isinstance(value, str):
            try:
                value = datetime.fromisoformat(value)
            except ValueError:
                raise self._wrong(key, "is no time: such as 2026-03-07T02:10:00Z") from None
        if not isinstance(value, datetime):
            raise self._wrong(key, "is no time: such as 2026-03-07T02:10:00Z")
        if value.tzinfo is None:
            raise self._wrong(key, "says no offset: end it with Z for UTC, or with one such as +01:00")
        return round(value.timestamp() * MICROSECONDS)

    def _text(self, key: str) -> str:
        value = self._entry.get(key, "")
        if not isinstance(value, str):
            raise self._wrong(key, "must be text in quotes")
        return value
