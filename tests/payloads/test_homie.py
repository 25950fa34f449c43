"""Topics and payloads of the Homie convention, versions 4.0.0 and 5; the device is our own."""

from __future__ import annotations

import pytest

from collector.errors import PayloadError
from collector.payloads import Decoded
from collector.readings import Observation
from tests.payloads.sources import RECEIVED_US, decoder


def _decode(topic: str, payload: bytes, **wanted: object) -> Decoded:
    return decoder("homie", **(wanted or {"series": "temperature"})).decode(topic, payload, RECEIVED_US)


@pytest.mark.parametrize(
    "topic", ["homie/sump-board/probes/temperature", "homie/5/sump-board/probes/temperature"]
)
@pytest.mark.parametrize(
    ("payload", "value"),
    [
        (b"25.31", 25.31),  # float
        (b"-3", -3.0),  # integer
        (b"true", "true"),  # boolean
        (b"false", "false"),
        (b"open", "open"),  # enum
    ],
)
def test_property_of_either_version_is_one_observation(
    topic: str, payload: bytes, value: float | str
) -> None:
    assert _decode(topic, payload) == Decoded((Observation("", value),))


@pytest.mark.parametrize(
    "topic",
    [
        "homie/sump-board/$state",
        "homie/sump-board/$homie",
        "homie/sump-board/probes/$properties",
        "homie/sump-board/probes/temperature/$unit",
        "homie/sump-board/probes/temperature/$datatype",
        "homie/$broadcast/alert",
        "homie/5/sump-board/$description",
        "homie/5/sump-board/$state",
        "homie/5/sump-board/$alert/dry",
        "homie/5/sump-board/probes/temperature/$target",
        "homie/sump-board/probes/heater/set",
        "homie/5/sump-board/probes/heater/set",
    ],
)
def test_attributes_and_commands_are_no_readings(topic: str) -> None:
    assert _decode(topic, b"21") == Decoded(())


def test_property_that_is_removed_is_no_reading() -> None:
    assert _decode("homie/5/sump-board/probes/temperature", b"") == Decoded(())


@pytest.mark.parametrize("payload", [b"\0", b"NaN", b"Infinity", b"-Infinity", b"\xff", b'{"a": 1}' * 10])
def test_empty_text_and_what_is_no_number_are_refused(payload: bytes) -> None:
    # Version 5: an empty text is one zero byte; NaN and Infinity are not valid.
    with pytest.raises(PayloadError):
        _decode("homie/5/sump-board/probes/temperature", payload)


@pytest.mark.parametrize("topic", ["homie", "homie/sump-board/probes", ""])
def test_topic_that_is_no_property_is_refused(topic: str) -> None:
    with pytest.raises(PayloadError, match="no property of Homie"):
        _decode(topic, b"25")


@pytest.mark.parametrize(
    ("wanted", "is_found"),
    [
        ("sump-board/probes/temperature", True),
        ("probes/temperature", True),
        ("temperature", True),
        ("perature", False),
        ("ph", False),
    ],
)
def test_property_is_wanted_by_its_path_or_the_end_of_it(wanted: str, is_found: bool) -> None:
    decoded = _decode("homie/5/sump-board/probes/temperature", b"25", values={wanted: "temperature"})
    assert decoded == Decoded((Observation(wanted, 25.0),) if is_found else ())
