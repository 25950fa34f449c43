"""Which messages get a picture; and that a record which cannot be read costs no message."""

from __future__ import annotations

import logging
from pathlib import Path

import pytest

from collector.clock import Clock
from collector.picture.pictures import Pictures
from tests.picture.night import SENT, day, message, reader, write
from tests.wording.example import HEATER, configuration


def still() -> Clock:
    """The clock stands where the message is sent, or nearly so."""
    return Clock(start_us=SENT)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return write(tmp_path, HEATER, day)


@pytest.mark.parametrize(
    ("kind", "has_picture"),
    [
        ("opened", True),
        ("worsened", True),
        ("next", True),
        ("again", False),
        ("back", False),
        ("ended", False),
        ("test", False),
    ],
)
def test_who_hears_of_it_first_or_that_it_is_worse_gets_a_picture(
    path: Path, kind: str, has_picture: bool
) -> None:
    with reader(path) as record:
        pictures = Pictures(record, configuration(), dict, still())
        assert (pictures(message(kind)) is not None) == has_picture


def test_message_that_may_have_arrived_goes_without(path: Path) -> None:
    with reader(path) as record:
        assert Pictures(record, configuration(), dict, still())(message(may_repeat=True)) is None


def test_message_of_no_incident_goes_without(path: Path) -> None:
    with reader(path) as record:
        assert Pictures(record, configuration(), dict, still())(message(incident=None)) is None


def test_record_that_cannot_be_read_costs_the_picture_only(
    path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    record = reader(path)
    record.close()
    with caplog.at_level(logging.WARNING):
        assert Pictures(record, configuration(), dict, still())(message()) is None
    assert "goes without its picture" in caplog.text


def test_incident_that_the_store_refused_costs_the_picture_only(path: Path) -> None:
    with reader(path) as record:
        assert Pictures(record, configuration(), dict, still())(message(incident=12)) is None
