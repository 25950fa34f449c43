"""Series whose readings arrive otherwise than they are kept: what a round trip may stumble over."""

from __future__ import annotations

from pathlib import Path

from collector.configuration import Configuration
from collector.settings import load_configuration

SETTINGS = """
[service]
folder = "data"

[page]
enabled = false

[tanks.reef]
time_zone = "UTC"

[tanks.reef.series.temperature]
quantity = "temperature"
unit = "degF"

[tanks.reef.series.ph]
quantity = "ph"
unit = "mV"
temperature_from = "temperature"

[tanks.reef.series.ph.calibration]
first = ["7.00 pH", "-6.0 mV"]
second = ["10.01 pH", "-178.0 mV"]

[tanks.reef.series.conductivity]
quantity = "conductivity"

[tanks.reef.series.salinity]
quantity = "practical_salinity"
derived_from = "conductivity"
temperature_from = "temperature"

[tanks.reef.series.floor_contact]
quantity = "contact"
inverted = true

[tanks.quarantine]
time_zone = "UTC"

[tanks.quarantine.series.temperature]
quantity = "temperature"

[[sources]]
topic = "+/+"
format = "number"
tank = "{1}"
series = "{2}"
"""


def configuration_in(folder: Path) -> Configuration:
    path = folder / "brinebell.toml"
    path.write_text(SETTINGS)
    return load_configuration(path, {})
