"""Which version of MQTT is spoken next, after which answers."""

from __future__ import annotations

import pytest

from collector.mqtt.protocol import Protocol, ProtocolChoice
from collector.mqtt.reasons import explain


def choice(note: str | None) -> tuple[ProtocolChoice, list[str]]:
    kept: list[str] = []
    return ProtocolChoice(note, kept.append), kept


@pytest.mark.parametrize(
    ("note", "first"),
    [
        (None, Protocol.V5),
        ("unanswered", Protocol.V5),
        ("5", Protocol.V5),
        ("3.1.1", Protocol.V3_1_1),
        ("something else", Protocol.V5),
    ],
)
def test_what_was_remembered_decides_what_is_tried_first(note: str | None, first: Protocol) -> None:
    assert choice(note)[0].current is first


def test_a_refusal_is_remembered_only_once_the_older_version_was_accepted() -> None:
    one, kept = choice(None)
    assert one.turned_down(explicitly=True)
    assert one.current is Protocol.V3_1_1
    assert kept == []
    one.accepted()
    assert kept == ["3.1.1"]
    assert one.current is Protocol.V3_1_1


def test_silence_is_believed_at_the_second_time() -> None:
    one, kept = choice(None)
    for _ in range(2):
        assert one.current is Protocol.V5
        assert one.turned_down(explicitly=False)
        one.accepted()
    assert kept == ["unanswered", "3.1.1"]
    assert one.current is Protocol.V3_1_1


def test_a_broker_that_was_only_busy_is_spoken_to_in_mqtt_5_again() -> None:
    one, kept = choice("unanswered")
    one.accepted()
    assert kept == ["5"]


def test_when_neither_version_is_answered_they_take_turns_with_a_pause_between() -> None:
    one, kept = choice(None)
    assert one.turned_down(explicitly=False)
    assert not one.turned_down(explicitly=False)
    assert one.current is Protocol.V5
    assert kept == []


def test_a_broker_that_lost_3_1_1_is_asked_in_mqtt_5() -> None:
    one, kept = choice("3.1.1")
    assert not one.turned_down(explicitly=True)
    assert one.current is Protocol.V5
    one.accepted()
    assert kept == ["5"]


# Names of the codes: MQTT 5.0, table 2-6; those that a session of ours may meet.
CODES = (0x80, 0x81, 0x82, 0x84, 0x85, 0x86, 0x87, 0x88, 0x89, 0x8B, 0x8D, 0x8E, 0x8F, 0x90, 0x93, 0x95, 0x97)
MORE_CODES = (0x8A, 0x98, 0x9A, 0x9B, 0x9E, 0x9F, 0xA2)


@pytest.mark.parametrize("code", CODES + MORE_CODES)
def test_every_code_says_what_it_is_and_how_to_mend_it(code: int) -> None:
    said = explain(code)
    assert f"0x{code:02X}" in said
    assert ";" in said
    assert "unknown" not in said


def test_an_unknown_code_is_told_as_one() -> None:
    assert "unknown reason (reason code 0xFE)" in explain(0xFE)
