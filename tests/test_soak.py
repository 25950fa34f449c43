"""Two minutes of a soak, held to what was measured: the long form is `python -m tests.bench.soak`."""

from __future__ import annotations

import pytest

from tests.bench.soak import soak

# Megabytes a minute in a service that has just begun, by `--minutes 2` (tests/bench/README.md), and half as
# much again for chance; the long form shows that it comes to rest.
MOST_GROWTH = 4.8
MOST_LOG_MB = 8.0


@pytest.mark.long
@pytest.mark.broker
@pytest.mark.timeout(300)
def test_neither_fifty_readings_a_second_nor_a_day_in_two_minutes_make_it_grow() -> None:
    for name, one in soak(minutes=2.0, rate=50.0, speed=720.0).items():
        assert one.stored == one.published > 4_000, name
        assert one.handles <= 2, name
        assert one.log_megabytes <= MOST_LOG_MB, name
        assert one.growth <= MOST_GROWTH, name
