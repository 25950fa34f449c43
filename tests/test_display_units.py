"""The same value in the units of a keeper's choice: on pages and in messages, never in what is kept."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import httpx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.display_units import CHOICES, DisplayUnits
from collector.pages import serve_in_thread
from collector.picture.gathering import sketch_of
from collector.store import Store, StoreReader
from collector.units import SPELLINGS, display, display_difference
from collector.units.factors import straight
from collector.wording import message_for
from tests.pages import tank
from tests.pages.conftest import standing_clock

CHOSEN = [(quantity, unit) for quantity, units in CHOICES.items() for unit in units]
FAHRENHEIT = DisplayUnits({"temperature": "degF", "volume": "gal_us", "water_level": "in"})


@pytest.mark.parametrize(("quantity", "unit"), CHOSEN)
@given(value=st.floats(-1e4, 1e4))
def test_numbers_written_out_are_those_of_the_units_library(quantity: str, unit: str, value: float) -> None:
    """pint 0.25 knows degF, gal and inch; the others are of the table by which readings arrive."""
    shown = CHOICES[quantity][unit]
    for difference in (False, True):
        back = straight(SPELLINGS[quantity][unit], quantity, difference=difference)
        assert back is not None
        there = shown.factor * value if difference else shown.of(value)
        assert back(there) == pytest.approx(value, rel=1e-12, abs=1e-9)
    assert shown.back(shown.of(value)) == pytest.approx(value, rel=1e-12, abs=1e-9)


# 25 degC is 77 degF, a US gallon 3.785 L (NIST SP 811); 1 meq/L is 2.8 dKH (common practice, no source).
@pytest.mark.parametrize(
    ("value", "quantity", "unit", "text", "difference"),
    [
        (25.0, "temperature", "degF", "77.0 °F", "45 °F"),
        (-40.0, "temperature", "degF", "-40.0 °F", "-72 °F"),
        (18.927, "volume", "gal_us", "5.0 gal", "5 gal"),
        (4.54609, "volume", "gal_imp", "1.0 gal imp.", "1 gal imp."),
        (2.54, "water_level", "in", "1.0 in", "1 in"),
        (2.5, "alkalinity", "dKH", "7.0 dKH", "7 dKH"),
        (2.5, "alkalinity", "mg/L CaCO3", "125 mg/L CaCO3", "125 mg/L CaCO3"),
        (0.15, "temperature", "degF", "32.3 °F", "0.27 °F"),
    ],
)
def test_value_and_difference(value: float, quantity: str, unit: str, text: str, difference: str) -> None:
    units = DisplayUnits({quantity: unit})
    assert display(value, quantity, units) == text
    assert display_difference(value, quantity, units) == difference


def test_pages_message_and_picture_speak_the_same_units_and_scripts_the_canonical_one(tmp_path: Path) -> None:
    configuration = replace(tank.configuration(tmp_path), units=FAHRENHEIT)
    path = configuration.store.path
    message = message_for(tank.heater_incident().incident, configuration, kind="opened", now_us=tank.NOW)
    assert "76.3 °F" in message.title
    assert "Falling 0.56 °F/h" in message.body
    with Store(path) as store:
        store.register(configuration.series)
        tank.fill(store, configuration, hours=4, value=tank.cooling)
        tank.raise_heater_incident(store, path)
        with (
            serve_in_thread(configuration, lambda: StoreReader(path), standing_clock()) as server,
            httpx.Client(base_url=server.address, trust_env=False) as client,
        ):
            now = client.get("/").text.replace("\u00a0", " ")
            assert "Urgent: heater failed off, 76.3 °F falling" in now
            assert "falling 0.56 °F/h" in now
            assert ">4.7 gal<" in now
            assert "8.6 in" in now
            rows = client.get("/now.json").json()["tanks"][0]["series"]
            assert (rows[0]["unit"], round(rows[0]["value"], 1)) == ("degC", 24.6)
            # Round numbers on the axis are round in the unit that is read.
            chart = client.get("/series/reef/temperature?hours=6").text.replace("\u00a0", " ")
            assert ">76.0<" in chart
            assert "°F" in chart
            assert "danger line 73.4 °F" in chart
            assert "°C" not in chart
            # What is tried there goes into the configuration as it stands.
            what_if = client.get("/what-if/reef/temperature").text.replace("\u00a0", " ")
            assert "Under limit, °C" in what_if
            assert "°F" not in what_if
        with StoreReader(path) as reader:
            sketch = sketch_of(reader, configuration, dict, 1, tank.NOW)
        assert sketch is not None
        words = [one.text for one in sketch.values]
        assert words
        assert all(one.endswith(" °F") and float(one.split()[0]).is_integer() for one in words)
