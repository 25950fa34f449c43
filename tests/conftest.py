"""Fixtures that every test may use."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

# In CI the same examples every time, and half as many where a test says nothing else: a change is judged by
# what it changes. Everywhere else they are new at each run, and a machine that is busy is no failure.
settings.register_profile("anywhere", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("ci", settings.get_profile("anywhere"), derandomize=True, max_examples=50)
settings.load_profile("ci" if os.environ.get("CI") else "anywhere")


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """Recorded series made by others, which lie beside the checkout in CI and are never committed."""
    folder = Path(__file__).resolve().parents[2] / "shared" / "data" / "real"
    if not folder.is_dir():
        pytest.skip("skipped: no shared data")
    return folder


# Marker -> programs that its tests need; mosquitto lives in sbin, which is not on everybody's path.
PROGRAMS = {
    "broker": ("mosquitto", "mosquitto_pub"),
    "browser": ("chromium", "chromedriver"),
    "faketime": ("faketime",),
    "influxdb": ("influxd",),
    "systemd": ("systemd-analyze",),
    "victoria": ("victoria-metrics",),
}
_PATH = f"{os.environ.get('PATH', '')}:/usr/sbin:/usr/local/sbin"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the longest."""
    items.sort(key=lambda item: item.get_closest_marker("long") is None)


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Skip a test whose programs are not there, saying which."""
    for marker, programs in PROGRAMS.items():
        missing = [program for program in programs if shutil.which(program, path=_PATH) is None]
        if missing and item.get_closest_marker(marker):
            pytest.skip(f"skipped: {' and '.join(missing)} not installed")


def pytest_sessionfinish(session: pytest.Session) -> None:
    """In CI a test that is skipped is a test that fails: a server that is not there is not tested."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if reporter is None or not os.environ.get("CI"):
        return
    skipped = len(reporter.stats.get("skipped", []))
    if skipped and session.exitstatus == pytest.ExitCode.OK:
        reporter.write_line(f"{skipped} skipped: in CI no test is left out")
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
