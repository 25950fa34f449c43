"""A bad night through the real service at speed: what rang, when, for whom, and nothing else.

At eleven the water is below its limit, for no heater holds it; then it crosses the danger line, the probe
falls silent, the broker is restarted, and the first person's channel goes down.
"""

from __future__ import annotations

import sqlite3
import time
from contextlib import closing

import pytest

from tests.delivery.receivers import WebReceiver
from tests.telling.household import RATE, Household
from tests.telling.parts import at

pytestmark = pytest.mark.broker

ELEVEN = at("2026-05-06 23:00", "UTC")
LIMITS = """gap = "6 min"
alarm_low = "24 degC"
danger_low = "21 degC"
priority = "high"
"""


def test_a_bad_night(live, broker) -> None:
    with WebReceiver() as kim:
        with WebReceiver() as sam:
            home: Household = live({"sam": sam.url, "kim": kim.url}, start_us=ELEVEN, limits=LIMITS)
            home.read(25.0, 23.5, 23.5, 23.5)
            home.until(home.incidents)
            # What is high waits for the morning.
            assert home.told == []
            home.read(20.5, 20.5, 20.5)
            home.until(lambda: sam.rings)
            # The probe falls silent, which joins the incident; the broker is away for a moment.
            home.until(lambda: len(home.causes()) == 3)
            broker.stop()
            broker.start()
            home.until(lambda: len(home.told) >= 3)
        # Now the first person's channel is down, and the next one is told all the same.
        home.until(lambda: kim.rings)
        done = home.command("acknowledge", "1", "--why", "on my way")
        assert done.returncode == 0, done.stderr
        told = home.rows()
        time.sleep(16 * 60 / RATE)
        assert home.rows() == told
    assert home.causes() == ["under_limit", "under_danger_line", "probe_silent"]
    assert len(home.incidents()) == 1
    # That his channel fails is told to kim, in the morning.
    with closing(sqlite3.connect(home.path)) as connection:
        reports = connection.execute(
            "SELECT person, channel, not_before_us, state FROM outbox WHERE kind = 'channel_fails'"
        ).fetchall()
    assert reports == [("kim", "json", at("2026-05-07 07:00", "UTC"), "waiting")]
    told = [one for one in told if one[1] != "channel_fails"]
    steps = [(person, kind) for person, kind, _ in told]
    assert steps[:4] == [("sam", "opened"), ("sam", "again"), ("sam", "again"), ("kim", "next")]
    # Who is slow to acknowledge on a loaded machine may be rung again, and nobody else is.
    assert set(steps[4:]) <= {("kim", "again")}
    minutes = [minute for _, _, minute in told]
    assert [round(minute / 5) for minute in minutes[:4]] == [0, 1, 2, 3]
    assert len({minute // 2 for minute in minutes}) == len(minutes)
