"""How a table of the configuration file and its keys are described: meaning, unit, default, an example."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, Field


def key(meaning: str, default: Any = None, *, like: str, unit: str = "", otherwise: str = "none") -> Any:
    """Describe a key: its meaning, default, how it is written, its unit, and what holds without a default."""
    extra: dict[str, Any] = {"unit": unit, "otherwise": otherwise}
    return Field(default, description=meaning, examples=[like], json_schema_extra=extra)


def required(meaning: str, *, like: str, unit: str = "") -> Any:
    """Describe a key that must be given."""
    return Field(description=meaning, examples=[like], json_schema_extra={"unit": unit})


def table(meaning: str) -> Any:
    """Describe a table within a table, which need not be there."""
    return Field(default=None, description=meaning)


class Table(BaseModel):
    """A table of the file: unknown keys are refused, and values never appear in an error by themselves."""

    model_config = ConfigDict(extra="forbid", frozen=True, hide_input_in_errors=True)
