"""A configuration file with other values: everything else in it, remarks too, stays as it was."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from collector.errors import ConfigError

Key = tuple[str, ...]


def patched(text: str, changes: Mapping[Key, str]) -> str:
    """The text of a file in which these keys have these values; a number without unit stays in quotes.

    Raises
    ------
    ConfigError
        If it is no TOML, or a key's tables are none.
    """
    try:
        document = tomlkit.parse(text)
    except TOMLKitError as error:
        raise ConfigError(f"the configuration is not TOML: {error}") from error
    for path, value in changes.items():
        table: Any = document
        for part in path[:-1]:
            below = table.get(part)
            if below is None:
                below = tomlkit.table()
                table[part] = below
            if not isinstance(below, Mapping):
                raise ConfigError(f"{'.'.join(path)}: {part} is no table")
            table = below
        before = table.get(path[-1])
        table[path[-1]] = _as_before(value, before)
    return tomlkit.dumps(document)


def with_changes(written: Mapping[str, Any], changes: Mapping[Key, str]) -> dict[str, Any]:
    """The tables of a file with these values for these keys, as `patched` writes them.

    Raises
    ------
    ConfigError
        If a key's tables are none.
    """
    found = dict(written)
    for path, value in changes.items():
        table = found
        for part in path[:-1]:
            below = table.get(part, {})
            if not isinstance(below, Mapping):
                raise ConfigError(f"{'.'.join(path)}: {part} is no table")
            table[part] = dict(below)
            table = table[part]
        table[path[-1]] = _as_before(value, table.get(path[-1]))
    return found


def patch_text(changes: Mapping[Key, str], text: str) -> str:
    """The changes alone, as TOML that says where they belong and what stood there."""
    lines = []
    known = tomlkit.parse(text).unwrap()
    for path, value in changes.items():
        before: Any = known
        for part in path:
            before = before.get(part) if isinstance(before, Mapping) else None
        was = "it was not set" if before is None else f"it was {tomlkit.item(before).as_string()}"
        after = tomlkit.item(_as_before(value, before)).as_string()
        if before == _as_before(value, before):
            continue
        lines += [f"[{'.'.join(path[:-1])}]", f"{path[-1]} = {after}  # {was}"]
    return "\n".join(lines)


def written(path: Path, text: str, now: datetime) -> Path:
    """Write a file in place of the one that is there, and keep that beside it; return where.

    Raises
    ------
    ConfigError
        If it cannot be written; then nothing has changed.
    """
    kept = path.with_name(f"{path.name}.before-{now:%Y-%m-%dT%H%M%S}")
    fresh = path.with_name(f"{path.name}.new")
    try:
        kept.write_bytes(path.read_bytes())
        kept.chmod(path.stat().st_mode)
        fresh.write_text(text, encoding="utf-8")
        fresh.chmod(path.stat().st_mode)
        fresh.replace(path)
    except OSError as error:
        raise ConfigError(f"{path} cannot be written: {error.strerror}; it is as it was") from error
    return kept


def _as_before(value: str, before: object) -> Any:
    """A value of the kind that stood there: numbers and truth values stay such, all else is text."""
    if isinstance(before, bool) and value in ("true", "false"):
        return value == "true"
    if isinstance(before, int | float) and not isinstance(before, bool):
        number = float(value)
        return int(number) if isinstance(before, int) and number.is_integer() else number
    return value
