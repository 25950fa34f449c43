"""A small configuration, a converter and one source per format, for the tests of decoders and routing."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from collector.configuration import (
    Configuration,
    MqttConfiguration,
    PageConfiguration,
    SeriesConfiguration,
    SourceConfiguration,
    StoreConfiguration,
)
from collector.errors import PayloadError
from collector.payloads import FORMATS, Decoder
from rules import EngineRules

RECEIVED_US = 1_790_000_000_000_000

TEMPERATURE = SeriesConfiguration("reef", "temperature", "temperature")
PH = SeriesConfiguration("reef", "ph", "ph")
LEAK = SeriesConfiguration("reef", "leak", "contact")
PUMP = SeriesConfiguration("reef", "pump", "state", words={"läuft": 1.0, "steht": 0.0})
UPSIDE_DOWN = SeriesConfiguration("reef", "float_switch", "contact", is_inverted=True)
FAHRENHEIT = SeriesConfiguration("reef", "sump_fahrenheit", "temperature", unit="degF")
ALL_SERIES = (TEMPERATURE, PH, LEAK, PUMP, UPSIDE_DOWN, FAHRENHEIT)

_CONVERSIONS: dict[tuple[str, str | None], Callable[[float], float]] = {
    ("temperature", None): lambda value: value,
    ("temperature", "degC"): lambda value: value,
    ("temperature", "Cel"): lambda value: value,
    ("temperature", "degF"): lambda value: (value - 32.0) / 1.8,
    ("temperature", "K"): lambda value: value - 273.15,
    ("ph", None): lambda value: value,
    ("ph", "pH"): lambda value: value,
}


def converter(spelling: str | None, series: SeriesConfiguration) -> Callable[[float], float]:
    """Stands for the unit table: few enough units to see through."""
    try:
        return _CONVERSIONS[series.quantity, spelling]
    except KeyError:
        raise PayloadError(f"{spelling} is no unit of a {series.quantity}") from None


def source(
    format_name: str, topic: str = "boards/sump", tank: str = "reef", **more: Any
) -> SourceConfiguration:
    return SourceConfiguration(topic=topic, format=format_name, tank=tank, **more)


def decoder(format_name: str, **more: Any) -> Decoder:
    return FORMATS[format_name](source(format_name, **more))


def configuration(
    sources: Iterable[SourceConfiguration], series: Iterable[SeriesConfiguration] = ALL_SERIES
) -> Configuration:
    return Configuration(
        mqtt=MqttConfiguration(),
        store=StoreConfiguration(Path()),
        page=PageConfiguration(),
        people=(),
        tanks=(),
        series=tuple(series),
        sources=tuple(sources),
        boards=(),
        engine=EngineRules((), ()),
    )
