"""The messages of every cause as a person reads them, kept in golden.txt to be read critically.

After a change of words: `python -m tests.wording.test_golden --write`, then read the difference as
somebody just woken.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from collector.configuration import Configuration
from collector.wording import Kind, message_for
from rules import Evidence, Incident, Priority, Reason, Rival, Sign
from tests.wording.example import HEATER, HOUR, NOW, at, configuration, incident

GOLDEN = Path(__file__).with_name("golden.txt")

SINCE = at("2026-03-07T01:30:00")
FALLING = HEATER.evidence
RISING = Evidence(
    value=27.12,
    limit=26.5,
    expected_low=25.3,
    expected_high=25.7,
    rate_per_hour=0.42,
    since_us=SINCE,
    danger=28.0,
    danger_at_us=at("2026-03-07T03:50:00"),
    danger_earliest_us=at("2026-03-07T03:20:00"),
    danger_latest_us=at("2026-03-07T04:30:00"),
)
LOW, HIGH, URGENT = Priority.LOW, Priority.HIGH, Priority.URGENT


def value(number: float, limit: float | None = None, rate: float | None = None) -> Evidence:
    return Evidence(value=number, limit=limit, rate_per_hour=rate, since_us=SINCE)


def unsure(
    evidence: Evidence, confidence: float, *rivals: tuple[str, float], power: bool = False
) -> Evidence:
    """The same with a confidence, rivals, and what the power of the equipment says."""
    reasons = (Reason(Sign.POWER, "power", 0.0, low=5.0),) if power else ()
    found = tuple(Rival(*rival) for rival in rivals)
    return replace(evidence, confidence=confidence, rivals=found, reasons=reasons)


BRIEF_FALL = value(24.62, None, -0.31)

CASES: tuple[tuple[str, Incident], ...] = (
    ("heater failed", HEATER),
    ("heater failed, high priority", replace(HEATER, priority=HIGH)),
    ("heater failed, low priority", replace(HEATER, priority=LOW)),
    (
        "heater failed, confidence known",
        replace(HEATER, evidence=replace(value(24.62, None, -0.31), confidence=0.82)),
    ),
    ("heater failed, still learning", replace(HEATER, evidence=replace(value(24.62, None, -0.31)))),
    (
        "heater failed, danger tomorrow",
        replace(
            HEATER,
            evidence=replace(
                FALLING, danger_at_us=NOW + 26 * HOUR, danger_earliest_us=None, danger_latest_us=None
            ),
        ),
    ),
    ("heater failed, beyond the danger line", replace(HEATER, evidence=value(22.81, None, -0.21))),
    ("heater failed, nothing but the alarm", replace(HEATER, evidence=Evidence())),
    ("heater stuck on", incident("heater_stuck_on", "temperature", RISING, URGENT)),
    ("under limit, temperature", incident("under_limit", "temperature", replace(FALLING, limit=25.0))),
    ("over limit, temperature", incident("over_limit", "temperature", RISING)),
    (
        "under danger line, temperature",
        incident("under_danger_line", "temperature", value(22.91, 23.0, -0.2), URGENT),
    ),
    (
        "over danger line, temperature",
        incident("over_danger_line", "temperature", value(28.05, 28.0, 0.3), URGENT),
    ),
    ("under limit, pH", incident("under_limit", "ph", value(7.78, 7.8, -0.04))),
    ("over limit, pH", incident("over_limit", "ph", value(8.63, 8.6, 0.09))),
    ("under limit, salinity", incident("under_limit", "practical_salinity", value(33.4, 33.5, -0.12))),
    ("over limit, salinity", incident("over_limit", "practical_salinity", value(36.1, 36.0, 0.01))),
    ("under limit, reservoir", incident("under_limit", "volume", value(4.9, 5.0, -0.2), LOW)),
    ("over limit, reservoir", incident("over_limit", "volume", value(61.0, 60.0, 3.0))),
    ("under limit, sump level", incident("under_limit", "water_level", value(17.4, 18.0, -1.2))),
    ("over limit, sump level", incident("over_limit", "water_level", value(27.3, 27.0, 2.2), URGENT)),
    ("under limit, power", incident("under_limit", "power", value(0.0, 5.0), HIGH)),
    ("over limit, power", incident("over_limit", "power", value(460.0, 420.0), HIGH)),
    ("under limit, alkalinity", incident("under_limit", "alkalinity", value(2.4, 2.5), LOW)),
    ("over limit, alkalinity", incident("over_limit", "alkalinity", value(4.1, 4.0), LOW)),
    ("under limit, redox", incident("under_limit", "redox_potential", value(212.0, 250.0, -8.0))),
    ("over limit, redox", incident("over_limit", "redox_potential", value(470.0, 450.0, 11.0))),
    ("under limit, oxygen", incident("under_limit", "dissolved_oxygen", value(4.7, 5.0, -0.4), URGENT)),
    ("over limit, oxygen", incident("over_limit", "dissolved_oxygen", value(11.2, 11.0), LOW)),
    ("under limit, flow", incident("under_limit", "flow", value(210.0, 900.0), HIGH)),
    ("over limit, flow", incident("over_limit", "flow", value(2900.0, 2800.0), LOW)),
    ("over limit, humidity", incident("over_limit", "relative_humidity", value(86.0, 80.0, 4.0), LOW)),
    ("falling fast, temperature", incident("changing_fast", "temperature", replace(FALLING, limit=None))),
    ("rising fast, pH", incident("changing_fast", "ph", value(8.41, None, 0.21))),
    ("changing fast, rate not known", incident("changing_fast", "ph", value(8.41))),
    ("contact alarm", incident("contact_alarm", "contact", value(1.0, 0.5), URGENT)),
    ("probe silent", incident("probe_silent", "temperature", value(25.41))),
    ("probe stuck", incident("probe_stuck", "temperature", value(25.41))),
    ("probe out of range", incident("probe_out_of_range", "temperature", value(-127.0))),
    (
        "heater failed, a rival, danger ahead",
        replace(HEATER, evidence=unsure(FALLING, 0.7, ("probe_dry", 0.4))),
    ),
    (
        "heater failed, two rivals, no danger known",
        replace(HEATER, evidence=unsure(BRIEF_FALL, 0.6, ("heater_weak", 0.5), ("probe_dry", 0.4))),
    ),
    (
        "heater failed, its power is known",
        replace(HEATER, evidence=unsure(BRIEF_FALL, 0.95, power=True)),
    ),
    (
        "heater weak",
        incident("heater_weak", "temperature", unsure(FALLING, 0.6, ("heater_failed_off", 0.4)), HIGH),
    ),
    (
        "cooling lost",
        incident("cooling_lost", "temperature", unsure(RISING, 0.7, ("heater_stuck_on", 0.5)), HIGH),
    ),
    (
        "heater stuck on, a rival",
        incident("heater_stuck_on", "temperature", unsure(RISING, 0.7, ("cooling_lost", 0.5)), URGENT),
    ),
    (
        "top-off overdose by salinity",
        incident(
            "top_off_overdose",
            "practical_salinity",
            unsure(value(33.9, None, -0.4), 0.7, ("leak", 0.4)),
            URGENT,
        ),
    ),
    (
        "top-off overdose by level",
        incident("top_off_overdose", "water_level", unsure(value(24.1, None, 1.6), 0.8), URGENT),
    ),
    (
        "top-off failed",
        incident("top_off_failed", "water_level", unsure(value(17.2, None, -0.08), 0.7, ("leak", 0.3)), HIGH),
    ),
    ("leak by level", incident("leak", "water_level", unsure(value(14.4, None, -1.1), 0.75), URGENT)),
    (
        "leak by salinity",
        incident(
            "leak",
            "practical_salinity",
            unsure(value(34.2, None, -0.1), 0.6, ("top_off_overdose", 0.5)),
            URGENT,
        ),
    ),
    ("leak by a floor contact", incident("leak", "contact", unsure(value(1.0), 0.95), URGENT)),
    ("no circulation", incident("circulation_stopped", "water_level", value(27.0, None, 3.0), URGENT)),
    ("reactor off band", incident("reactor_off_band", "ph", value(5.92, None, -0.12), HIGH)),
    ("probe dry", incident("probe_dry", "temperature", unsure(value(21.3, None, -2.2), 0.7), HIGH)),
    (
        "probe noisy",
        incident("probe_noisy", "practical_salinity", unsure(value(34.1), 0.7, ("probe_dry", 0.4)), HIGH),
    ),
    (
        "probe drifting",
        incident(
            "probe_drifting",
            "practical_salinity",
            unsure(value(36.1, None, 0.01), 0.6, ("top_off_failed", 0.4)),
            LOW,
        ),
    ),
    ("mains power lost", incident("mains_power_lost", "power", Evidence(since_us=SINCE), URGENT)),
    ("board offline", incident("device_offline", "temperature", Evidence(since_us=SINCE))),
)

ONE = configuration()
TWO = configuration(tank_titles=("Living room mixed reef", "Nursery"))
LONG = configuration(
    tank_titles=("The big mixed reef in the living room by the window",),
    series_title="Temperature of the display tank behind the rocks on the left",
)


def _rendered() -> Iterator[str]:
    for name, one in CASES:
        yield _text(name, one, ONE, "opened")
    yield _text("heater failed, worsened", HEATER, ONE, "worsened")
    for name, one in (CASES[0], CASES[9], CASES[-4], CASES[-1]):
        yield _text(f"{name}, two tanks", one, TWO, "opened")
        yield _text(f"{name}, long names", one, LONG, "opened")
        yield _text(f"{name}, ended", replace(one, ended_at_us=NOW + 4 * HOUR), ONE, "ended")


def _text(name: str, one: Incident, setup: Configuration, kind: Kind) -> str:
    now_us = NOW if one.ended_at_us is None else one.ended_at_us
    message = message_for(one, setup, kind=kind, now_us=now_us)
    first, rest = len(message.title.split()), len(message.body.split())
    sizes = f"{first} words, {len(message.title)} characters; {rest} words"
    return f"[{name}: {sizes}]\n{message.title}\n{message.body}\n"


def test_messages_read_as_they_did() -> None:
    assert "\n".join(_rendered()) == GOLDEN.read_text(encoding="utf-8"), (
        "words have changed: run `python -m tests.wording.test_golden --write` and read the difference"
    )


if __name__ == "__main__":
    if sys.argv[1:] != ["--write"]:
        sys.exit("usage: python -m tests.wording.test_golden --write")
    GOLDEN.write_text("\n".join(_rendered()), encoding="utf-8")
