"""Loads a configuration that a test makes."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from collector.settings import Loaded, read_configuration
from tests.settings.configurations import Load
from tests.settings.toml_text import toml_text


@pytest.fixture
def load(tmp_path: Path) -> Load:
    """Load a configuration from nested values or text, without the environment of the test run."""

    def load(data: Mapping[str, Any] | str, environ: Mapping[str, str] | None = None) -> Loaded:
        path = tmp_path / "brinebell.toml"
        path.write_text(data if isinstance(data, str) else toml_text(data), encoding="utf-8")
        return read_configuration(path, environ or {})

    return load
