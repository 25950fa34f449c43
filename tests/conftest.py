"""Fixtures that every test may use."""

from __future__ import annotations

import os
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """Recorded series made by others, which lie beside the checkout in CI and are never committed."""
    folder = Path(__file__).resolve().parents[2] / "shared" / "data" / "real"
    if not folder.is_dir():
        pytest.skip("skipped: no shared data")
    return folder


def pytest_sessionfinish(session: pytest.Session) -> None:
    """In CI a test that is skipped is a test that fails: a server that is not there is not tested."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    skipped = 0 if reporter is None else len(reporter.stats.get("skipped", []))
    if skipped and os.environ.get("CI") and session.exitstatus == pytest.ExitCode.OK:
        print(f"\n{skipped} skipped: in CI no test is left out")
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
