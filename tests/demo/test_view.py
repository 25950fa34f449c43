"""What the demo shows: plain lines in the tank's time."""

from __future__ import annotations

import io

import pytest

from collector.demo.phone import Ring
from collector.demo.view import View
from collector.store import IncidentRecord
from rules import HOUR_US, MICROSECONDS, Evidence, Incident, Priority

# Midnight of 21 March 2026 UTC.
MIDNIGHT_US = 1_774_051_200 * MICROSECONDS


def _record(ended_at_us: int | None = None) -> IncidentRecord:
    incident = Incident(
        number=3,
        tank="reef",
        cause="heater_failed_off",
        series=("temperature", "heater_power"),
        priority=Priority.URGENT,
        first_evidence_us=MIDNIGHT_US + HOUR_US,
        alarmed_at_us=MIDNIGHT_US + 5 * HOUR_US // 4,
        ended_at_us=ended_at_us,
        evidence=Evidence(),
        alarms=(),
    )
    return IncidentRecord(incident, "title", "body")


def test_readings_are_one_line_with_their_units_and_decimals() -> None:
    out = io.StringIO()
    View("UTC", out=out).readings(MIDNIGHT_US, {"temperature": 25.4, "ph": 8.2, "heater_power": 400.0})
    assert out.getvalue() == "00:00  water 25.40 degC   heater 400 W   pH 8.20\n"


@pytest.mark.parametrize(
    ("time_zone", "expected"), [("UTC", "00:00"), ("Etc/GMT-5", "05:00"), ("Etc/GMT+1", "23:00")]
)
def test_times_are_those_of_the_tank(time_zone: str, expected: str) -> None:
    assert View(time_zone, out=io.StringIO()).time(MIDNIGHT_US) == expected


def test_a_ring_shows_all_that_stands_on_the_phone_in_lines_of_its_width() -> None:
    out = io.StringIO()
    words = "Falling 0.33 °C/h since 00:45. Act now: first look at the heater's plug, fuse and thermostat."
    View("UTC", out=out).ring(Ring("Heater failed off", f"{words}\nSecond line."))
    assert out.getvalue() == (
        "\n"
        "  The phone rings:\n"
        "  | Heater failed off\n"
        "  | Falling 0.33 °C/h since 00:45. Act now: first look at the\n"
        "  | heater's plug, fuse and thermostat.\n"
        "  | Second line.\n"
        "\n"
    )


def test_a_message_of_low_priority_makes_no_sound() -> None:
    out = io.StringIO()
    View("UTC", out=out).ring(Ring("Ended: heater failed", "Back to normal.", is_loud=False))
    assert "On the phone, without a sound:\n  | Ended: heater failed\n" in out.getvalue()


@pytest.mark.parametrize(
    ("ended_at_us", "end"), [(None, "alarmed 01:15\n"), (MIDNIGHT_US + 9 * HOUR_US, ", ended 09:00\n")]
)
def test_an_incident_shows_cause_series_and_instants(ended_at_us: int | None, end: str) -> None:
    out = io.StringIO()
    View("UTC", out=out).incident(_record(ended_at_us))
    assert out.getvalue().startswith(
        "  Incident 3 in the list: heater_failed_off (temperature, heater_power), urgent, first seen 01:00, "
    )
    assert out.getvalue().endswith(end)
