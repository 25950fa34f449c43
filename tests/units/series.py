"""Series as the configuration makes them, for tests of conversions."""

from __future__ import annotations

from typing import Any

from collector.configuration import Calibration, LevelTable, SeriesConfiguration

CALIBRATION = Calibration(7.0, -6.0, 10.01, -178.0, 25.0)
RESERVOIR = LevelTable("cm", (0.0, 10.0, 30.0), (0.0, 6.0, 18.5))


COUNTER = LevelTable("count", (0.0, 1024.0), (0.0, 20.0))


def knowing(quantity: str, spelling: str = "") -> SeriesConfiguration:
    """A series that knows all that an arriving value of its quantity can need."""
    table = COUNTER if spelling in ("count", "#") else RESERVOIR
    others = {
        "ph": {"calibration": CALIBRATION},
        "practical_salinity": {"reference": "20/20 degC"},
        "volume": {"level_table": table},
    }
    return series(quantity, **others.get(quantity, {}))


def series(quantity: str, **others: Any) -> SeriesConfiguration:
    return SeriesConfiguration("reef", quantity, quantity, **others)
