"""Settings: one TOML file and the environment, checked whole and once, become a `Configuration`."""

from collector.settings.keys import DocumentedKey, documented_keys, fault_parameters, keys_text
from collector.settings.loading import (
    Loaded,
    example_text,
    load_configuration,
    read_configuration,
    read_text,
    read_written,
)

__all__ = [
    "DocumentedKey",
    "Loaded",
    "documented_keys",
    "example_text",
    "fault_parameters",
    "keys_text",
    "load_configuration",
    "read_configuration",
    "read_text",
    "read_written",
]
