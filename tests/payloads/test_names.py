"""Which wanted name a full name means."""

from __future__ import annotations

import pytest

from collector.payloads.names import Names


@pytest.mark.parametrize(
    ("full", "found"),
    [
        ("urn:dev:ow:10e2073a0108006:voltage", "voltage"),
        ("sump/temperature", "temperature"),
        ("temperature", "temperature"),
        ("display/temperature", "display/temperature"),
        ("reef/display/temperature", "display/temperature"),
        ("return_temperature", None),  # part of a word is not the end of a name
        ("temperature/2", None),
        ("", None),
    ],
)
def test_whole_name_or_the_longest_end_is_meant(full: str, found: str | None) -> None:
    names = Names(["voltage", "temperature", "display/temperature"], takes_any=False)
    assert [names.find(full), names.find(full)] == [found, found]


def test_name_that_is_not_wanted_stands_for_the_one_series() -> None:
    names = Names(["voltage"], takes_any=True)
    assert names.find("board:voltage") == "voltage"
    assert names.find("board:current") == ""
