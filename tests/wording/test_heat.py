"""What is known of a tank's heat, in words, and why where nothing is."""

from __future__ import annotations

import pytest

from collector.wording.heat import heat_text
from rules import HeatModel, NotFitted
from tests.wording.example import HOUR, NOW

ZONE = "Europe/Madrid"
ALL = ("temperature", "room_temperature", "heater_power", "chiller_power")
DAY = (0.0,) * 24
FULL = HeatModel(
    27.9,
    0.02,
    DAY,
    time_constant_hours=22.73,
    time_constant_error=0.87,
    heater_per_hour=0.9213,
    heater_watts=398.4,
    chiller_per_hour=-0.528,
    chiller_watts=1.0,
)


@pytest.mark.parametrize(
    ("fitted", "roles", "words"),
    [
        (
            FULL,
            ALL,
            (
                "time constant 22.7 h (± 0.9 h), heater +0.92 °C/h at 398 W, chiller -0.53 °C/h, "
                "as of 01:45, from 28 days"
            ),
        ),
        (
            HeatModel(14.0, 0.02, DAY, heater_per_hour=0.88, heater_watts=400.0),
            ("temperature", "heater_power"),
            (
                "no time constant, for no series tells the room's temperature; projections go by the volume; "
                "heater +0.88 °C/h at 400 W, as of 01:45"
            ),
        ),
        (
            HeatModel(14.0, 0.02, DAY),
            ("temperature", "room_temperature"),
            (
                "no time constant, for no series tells when heater or chiller work; "
                "projections go by the volume; as of 01:45"
            ),
        ),
        (
            HeatModel(14.0, 0.02, DAY),
            ALL,
            (
                "no time constant, for room and equipment have changed too little to show it; "
                "projections go by the volume; as of 01:45"
            ),
        ),
        (
            NotFitted("3.2 days of history, 5 are needed"),
            ALL,
            "not known: 3.2 days of history, 5 are needed; as of 01:45, projections go by the volume",
        ),
        (None, ALL, "not fitted yet, that is done in the night: projections go by the volume"),
    ],
    ids=["all", "no room", "no power", "nothing to see", "too short", "never"],
)
def test_a_model_or_why_there_is_none_is_one_line(fitted, roles, words) -> None:
    # An hour ago, at a quarter to two in the night in Madrid.
    assert heat_text(fitted, roles, ZONE, NOW - HOUR, NOW) == words
