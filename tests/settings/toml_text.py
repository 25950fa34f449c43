"""Writes nested values as TOML, to make configurations from the parts that a test names."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any


def toml_text(data: Mapping[str, Any]) -> str:
    """One key a line; tables and lists of tables are written inline."""
    return "".join(f"{_key(key)} = {_value(value)}\n" for key, value in data.items())


def _key(key: str) -> str:
    return json.dumps(key, ensure_ascii=False)


def _value(value: Any) -> str:
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{_key(key)} = {_value(one)}" for key, one in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_value, value)) + "]"
    if isinstance(value, bool | str):
        return json.dumps(value, ensure_ascii=False)
    return repr(value)
