"""The environment wins over the file, and its mistakes are told by the name of the variable."""

# ruff: noqa: E501 - one row a case
from __future__ import annotations

import pytest

from collector.errors import ConfigError
from collector.settings import load_configuration
from tests.settings.configurations import SMALL, Load, changed


def test_environment_wins_over_the_file(load: Load) -> None:
    data = changed(SMALL, "mqtt", {"host": "from.file", "port": 1884})
    mqtt = load(data, {"BRINEBELL_MQTT__HOST": "from.environment"}).configuration.mqtt
    assert (mqtt.host, mqtt.port) == ("from.environment", 1884)


def test_environment_reaches_a_single_series(load: Load) -> None:
    environ = {
        "BRINEBELL_TANKS__REEF__SERIES__TEMPERATURE__ALARM_LOW": "23.5 degC",
        "BRINEBELL_TANKS__REEF__SERIES__TEMPERATURE__USUAL_RANGE": '["20 degC", "30 degC"]',
    }
    rules = load(SMALL, environ).configuration.engine.series[0]
    assert rules.gross_range is not None
    assert (rules.limit_alarms[0].setpoint, rules.gross_range.usual_high) == (23.5, 30)


def test_environment_reaches_a_source_by_its_position(load: Load) -> None:
    sources = load(SMALL, {"BRINEBELL_SOURCES__0__TOPIC": "b/+"}).configuration.sources
    assert [(one.topic, one.format) for one in sources] == [("b/+", "number")]


def test_environment_serves_the_example_too() -> None:
    assert load_configuration(None, {"BRINEBELL_MQTT__PORT": "1884"}).mqtt.port == 1884


def test_variables_of_others_are_passed_over(load: Load) -> None:
    environ = {"HOME": "/", "BRINEBELL": "x", "BRINEBELL_VENV": "/x", "MQTT__HOST": "other"}
    assert load(SMALL, environ).configuration.mqtt.host == "127.0.0.1"


@pytest.mark.parametrize(
    ("name", "value", "told"),
    [
        ("BRINEBELL_MQQT__HOST", "x", 'environment.BRINEBELL_MQQT__HOST: no section \'mqqt\'; did you mean "mqtt"'),
        ("BRINEBELL_MQTT__HOTS", "x", 'mqtt.hots: unknown key; did you mean "host"'),
        ("BRINEBELL_MQTT__PORT", "x", 'mqtt.port = "x": a whole number'),
        ("BRINEBELL_TANKS__REEF__EQUIPMENT", "heater", "environment.BRINEBELL_TANKS__REEF__EQUIPMENT: a list"),
        ("BRINEBELL_SOURCES", "[{]", "environment.BRINEBELL_SOURCES: a list"),
        ("BRINEBELL_SOURCES", "5", "sources: a list of tables"),
        ("BRINEBELL_MQTT", '{"host": null}', "mqtt.host: text in quotes"),
        ("BRINEBELL_MQTT__TLS__X", "true", "mqtt.tls"),
    ],
)  # fmt: skip
def test_mistake_in_the_environment_is_named(load: Load, name: str, value: str, told: str) -> None:
    with pytest.raises(ConfigError) as error:
        load(SMALL, {name: value})
    assert f"\n  {told}" in str(error.value)
