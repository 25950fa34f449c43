"""What tells causes apart: a few words for every pair that competes, and where they are told."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import pytest

from collector.wording import message_for
from collector.wording.evidence import reason_lines, rival_lines
from collector.wording.rivals import TELLS, what_tells
from collector.wording.texts import CAUSE_TEXTS
from rules import CAUSES, Evidence, Priority, Reason, Rival, Sign
from tests.wording.example import HEATER, HOUR, NOW, configuration, incident

# Causes that explain a common symptom, by that symptom.
COMPETING = {
    "temperature low": (
        "heater_failed_off",
        "heater_weak",
        "probe_dry",
        "circulation_stopped",
        "probe_drifting",
    ),
    "temperature high": (
        "heater_stuck_on",
        "cooling_lost",
        "probe_dry",
        "circulation_stopped",
        "probe_drifting",
    ),
    "salinity low": ("leak", "top_off_overdose", "probe_dry", "probe_drifting"),
    "salinity high": ("top_off_failed", "probe_drifting"),
    "level low": ("leak", "top_off_failed", "probe_dry", "probe_stuck"),
    "level high": ("top_off_overdose", "circulation_stopped", "probe_stuck"),
    "frozen": ("probe_stuck", "probe_dry"),
    "scatter": ("probe_noisy", "probe_dry"),
    "silence": ("mains_power_lost", "device_offline", "probe_silent"),
}
PAIRS = sorted({pair for causes in COMPETING.values() for pair in combinations(sorted(causes), 2)})


@pytest.mark.parametrize(("one", "other"), PAIRS)
def test_a_pair_that_competes_is_told_apart_in_either_order(one: str, other: str) -> None:
    assert what_tells(one, other)
    assert what_tells(one, other) == what_tells(other, one)


@pytest.mark.parametrize("pair", TELLS, ids=lambda pair: "-".join(sorted(pair)))
def test_words_that_tell_apart_fit_a_message_and_concern_two_known_causes(pair: frozenset[str]) -> None:
    sentence = TELLS[pair]
    assert len(pair) == 2
    assert pair <= set(CAUSES)
    assert len(sentence.split()) <= 6
    assert sentence[-1] in ".?"
    # It follows a colon.
    assert sentence[0].islower()
    # Nobody who is half asleep is sent into the water, or to open what carries mains.
    assert not {"feel", "touch", "open", "reach"} & set(sentence.replace(".", "").split())


def test_what_does_not_compete_is_not_told_apart() -> None:
    assert what_tells("heater_failed_off", "heater_stuck_on") is None
    assert what_tells("heater_failed_off", "heater_failed_off") is None


def unsure(*rivals: tuple[str, float], **changes: object) -> Evidence:
    evidence = Evidence(value=24.62, rate_per_hour=-0.31, confidence=0.6, since_us=NOW - HOUR, **changes)
    return replace(evidence, rivals=tuple(Rival(*rival) for rival in rivals))


def body(evidence: Evidence, cause: str = "heater_failed_off", priority: Priority = Priority.URGENT) -> str:
    one = incident(cause, "temperature", evidence, priority)
    return message_for(one, configuration(), kind="opened", now_us=NOW).body


def test_a_message_names_the_surest_rival_and_what_tells_it() -> None:
    told = body(unsure(("probe_dry", 0.45), ("heater_weak", 0.4)))
    assert " Or probe dry: is the probe under water? " in told
    assert "heater weak" not in told


def test_a_message_without_room_names_the_rival_alone() -> None:
    told = body(unsure(("cooling_lost", 0.45)), "heater_stuck_on")
    assert " Or cooling lost. " in told


def test_a_rival_that_this_version_does_not_know_is_named_all_the_same() -> None:
    assert " Or ghost in the sump. " in body(unsure(("ghost_in_the_sump", 0.45)))
    assert rival_lines(unsure(("ghost_in_the_sump", 0.45)), "leak") == [
        "Or ghost in the sump, about 45 % sure."
    ]


def test_a_message_tells_what_the_equipment_says() -> None:
    off = Reason(Sign.POWER, "power", 0.0, low=5.0)
    assert " Power 0 W. " in body(unsure(reasons=(off,)))
    assert "Power" not in body(unsure(reasons=(replace(off, speaks_against=True),)))
    assert "slope" not in body(unsure(reasons=(Reason(Sign.SLOPE, "temperature", -0.3),)))


def test_lines_of_evidence_begin_with_what_speaks_for_the_cause() -> None:
    evidence = unsure(
        ("probe_dry", 0.452),
        reasons=(
            Reason(Sign.POWER, "power", 95.0, speaks_against=True),
            Reason(Sign.SLOPE, "temperature", -0.314, low=-0.1, high=0.1, window_us=HOUR),
        ),
    )
    assert reason_lines(evidence, "tank0", configuration()) == [
        "Display temperature, slope: -0.31 °C/h over 1 h, expected -0.1 °C/h to 0.1 °C/h",
        "Power, power: 95 W (speaks against it)",
    ]
    assert rival_lines(evidence, HEATER.cause) == ["Or probe dry, about 45 % sure: is the probe under water?"]


def test_lines_of_a_series_that_is_gone_stand_by_its_name() -> None:
    evidence = unsure(reasons=(Reason(Sign.LEVEL, "old_probe", 3.25),))
    assert reason_lines(evidence, "tank0", configuration()) == ["Old probe, value: 3.25"]


@pytest.mark.parametrize("cause", CAUSES)
def test_a_name_within_a_sentence_is_that_of_the_first_line(cause: str) -> None:
    (line,) = rival_lines(unsure((cause, 0.4)), "leak")
    assert CAUSE_TEXTS[cause].what.lower() in line.lower()
