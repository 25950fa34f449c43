"""How an incident is explained: the steps before it rang, what it rang on, and its end."""

from __future__ import annotations

from dataclasses import replace

import pytest

from collector.wording.explanation import Step, explanation, telling
from rules import (
    AlarmRaised,
    AlarmReturned,
    Evidence,
    Finding,
    Judgement,
    Priority,
    Reason,
    Rival,
    Sign,
)
from tests.wording.example import HEATER, HOUR, MINUTE, NOW, configuration

KEY = HEATER.alarms[0]
SLOPE = Reason(Sign.SLOPE, "temperature", -0.31, window_us=HOUR)


def judgement(minutes: int, confidence: float, *, is_suppressed: bool = False) -> Judgement:
    finding = Finding(confidence, (SLOPE,) if confidence >= 0.5 else ())
    return Judgement(NOW + minutes * MINUTE, KEY, finding, None, False, False, is_suppressed)


def test_confidence_is_told_where_it_changed() -> None:
    steps = [judgement(5 * n, c) for n, c in enumerate((0.3, 0.3, 0.34, 0.36, 0.6, 0.6, 0.64, 0.66))]
    assert [one.finding.confidence for one in telling(steps)] == [0.3, 0.36, 0.6, 0.66]


@pytest.mark.parametrize(("changes", "lines"), [(7, 7), (8, 8), (9, 8)], ids=["under", "at", "over"])
def test_of_many_changes_the_latest_are_told(changes: int, lines: int) -> None:
    steps = [judgement(5 * n, 0.1 * (n % 2 + 1)) for n in range(changes)]
    assert telling(steps) == steps[-lines:]


def test_an_alarm_is_told_with_growth_reasons_rivals_and_what_to_do() -> None:
    evidence = replace(
        HEATER.evidence,
        confidence=0.7,
        reasons=(SLOPE, Reason(Sign.POWER, "power", 80.0, speaks_against=True)),
        rivals=(Rival("probe_dry", 0.4),),
    )
    event = AlarmRaised(NOW, KEY, Priority.URGENT, NOW - 15 * MINUTE, ("temperature",), evidence)
    before = (judgement(-20, 0.3, is_suppressed=True), judgement(-15, 0.7))
    ended = replace(HEATER, ended_at_us=NOW + 2 * HOUR)
    steps = (Step(event, before), Step(AlarmReturned(NOW + 2 * HOUR, KEY, 25.2)))
    assert explanation(ended, steps, configuration()).splitlines() == [
        "Incident 7: heater failed off, tank tank0, urgent",
        "Times are the tank's: Europe/Madrid.",
        "",
        "2026-03-07 02:45  heater failed off, Display temperature: alarm raised, urgent",
        "    how the confidence grew",
        "      2026-03-07 02:25   30 %  suppressed by design",
        "      2026-03-07 02:30   70 %  Display temperature, slope: -0.31 °C/h over 1 h",
        "    confidence 70 %",
        "    because",
        "      Display temperature, slope: -0.31 °C/h over 1 h",
        "      Power, power: 80 W (speaks against it)",
        "      value 24.6 °C",
        "      usual at this hour 25.3 °C to 25.7 °C",
        "      since 2026-03-07 02:30",
        "      danger line 23.0 °C about 04:10, between 03:50 and 05:05",
        "    what else it may be, and how to tell",
        "      Or probe dry, about 40 % sure: is the probe under water?",
        "    what to do",
        "      look at the heater's plug, fuse and thermostat. Unplug it before hands go into the water.",
        "",
        "2026-03-07 04:45  heater failed off, Display temperature: returned to normal at 25.2 °C",
        "",
        "2026-03-07 04:45  incident ended, 2 h 15 min after the first evidence",
    ]


def test_an_alarm_of_which_nothing_is_known_says_nothing_made_up() -> None:
    event = AlarmRaised(NOW, KEY, Priority.URGENT, NOW, ("temperature",), Evidence())
    text = explanation(replace(HEATER, tank="gone"), [Step(event)], configuration())
    assert "None" not in text
    assert "because" not in text
    assert "Times are the tank's: UTC." in text
