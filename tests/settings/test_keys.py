"""The documentation of keys, the models and the example say the same."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from collector.settings import documented_keys, example_text, fault_parameters, keys_text
from collector.settings.defaults import ALARM_DEFAULTS
from collector.settings.equipment import EQUIPMENT
from collector.units import parse_duration, parse_quantity
from rules import FAULTS, QUANTITIES, TWO_STATE
from tests.settings.configurations import Load, all_keys_in_use, put_named_files


def _paths(data: Any, prefix: str = "") -> Iterator[str]:
    """Paths of all keys, with names that a keeper chooses as they are documented."""
    for key, value in data.items():
        chosen = {"people": "<person>", "tanks": "<tank>", "series": "<series>"}
        name = prefix.rpartition(".")[2]
        path = f"{prefix}.{chosen.get(name, key)}" if prefix else key
        if isinstance(value, dict):
            yield path
            yield from _paths(value, path)
        elif isinstance(value, list) and value and isinstance(value[0], dict):
            for one in value:
                yield from _paths(one, f"{path}[]")
        else:
            yield path


IN_EXAMPLE = frozenset(_paths(tomllib.loads(all_keys_in_use())))


def test_example_with_every_key_in_use_is_a_right_configuration(load: Load, tmp_path: Path) -> None:
    put_named_files(tmp_path)
    loaded = load(all_keys_in_use())
    assert loaded.warnings == ()
    assert {tank.name for tank in loaded.configuration.tanks} == {"reef", "quarantine"}


@pytest.mark.parametrize("key", list(documented_keys()), ids=lambda key: key.path)
def test_every_key_occurs_in_the_example_and_the_documentation(key: Any) -> None:
    assert key.path in IN_EXAMPLE
    assert key.meaning
    assert f"\n{key.path}" in keys_text()


@pytest.mark.parametrize("key", list(fault_parameters()), ids=lambda key: key.path)
def test_every_parameter_of_every_fault_is_documented_with_its_default(key: Any) -> None:
    assert key.meaning
    assert f"\n{key.path} ({key.unit})\n    {key.meaning}; default: {key.default}" in keys_text()


def test_every_fault_has_its_parameters_among_those_documented() -> None:
    documented = {key.path for key in fault_parameters()}
    for code, fault in FAULTS.items():
        for parameter in fault.parameters:
            assert f"tanks.<tank>.faults.{code}.{parameter.name}" in documented


def test_every_word_for_equipment_is_documented_and_accepted(load: Load) -> None:
    for word in sorted(EQUIPMENT.keys() | {word for fault in FAULTS.values() for word in fault.equipment}):
        assert f"\n{word}: {EQUIPMENT[word]}\n" in keys_text()
        loaded = load(example_text().replace('["heater", "top_off"]', f'["{word}"]'))
        assert loaded.configuration.tank("reef").rules.equipment == frozenset({word})


@pytest.mark.parametrize(
    "name", ["client_id", "keep_alive", "receive_maximum", "session_expiry", "allowance"]
)
def test_key_that_is_not_in_use_shows_its_default(name: str) -> None:
    (shown,) = re.findall(rf"(?m)^#{name} = (.*)$", example_text())
    (default,) = (key.default for key in documented_keys() if key.path.endswith(f".{name}"))
    assert shown == default


def test_the_example_shows_one_fault_with_all_its_parameters_at_their_defaults(
    load: Load, tmp_path: Path
) -> None:
    put_named_files(tmp_path)
    own = load(all_keys_in_use()).configuration.tank("reef").rules.faults
    assert set(own) == {"heater_failed_off"}
    for code, values in own.items():
        assert values == pytest.approx({one.name: one.default for one in FAULTS[code].parameters})


def test_every_quantity_has_alarm_defaults_that_can_be_read() -> None:
    assert set(ALARM_DEFAULTS) == set(QUANTITIES)
    for quantity, default in ALARM_DEFAULTS.items():
        assert parse_duration(default.on_delay) >= 0
        # A danger line never waits longer than a limit.
        assert parse_duration(default.danger_on_delay or default.on_delay) <= parse_duration(default.on_delay)
        assert parse_duration(default.off_delay) >= 0
        assert default.reason
        if quantity not in TWO_STATE:
            assert parse_quantity(default.deadband, quantity, difference=True) > 0
