"""Fixtures that every test may use."""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """Recorded series made by others, which lie beside the checkout in CI and are never committed."""
    folder = Path(__file__).resolve().parents[2] / "shared" / "data" / "real"
    if not folder.is_dir():
        pytest.skip("skipped: no shared data")
    return folder
