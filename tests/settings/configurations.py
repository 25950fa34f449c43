"""A small right configuration, ways to change it, and the example with every key in use."""

from __future__ import annotations

import copy
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

from collector.settings import Loaded, example_text

SMALL: dict[str, Any] = {
    "service": {},
    "mqtt": {},
    "page": {},
    "people": {"keeper": {}},
    "tanks": {
        "reef": {
            "volume": "400 L",
            "equipment": ["heater"],
            "faults": {"heater_failed_off": {}},
            "roles": {},
            "series": {
                "temperature": {"quantity": "temperature"},
                "ph": {"quantity": "ph"},
                "conductivity": {"quantity": "conductivity"},
                "practical_salinity": {
                    "quantity": "practical_salinity",
                    "derived_from": "conductivity",
                    "temperature_from": "temperature",
                },
                "reservoir": {"quantity": "volume"},
                "leak": {"quantity": "contact"},
            },
        }
    },
    "sources": [{"topic": "boards/sump/+", "format": "number", "tank": "reef", "series": "{1}"}],
    "boards": [{"tank": "reef", "name": "sump", "topic": "boards/status/sump", "series": ["temperature"]}],
}

Load = Callable[..., Loaded]


def changed(data: dict[str, Any], dotted: str, value: Any) -> dict[str, Any]:
    """A copy with a value put at a path such as `sources.0.topic`; `...` takes out what is there."""
    data = copy.deepcopy(data)
    *above, last = [int(part) if part.isdecimal() else part for part in dotted.split(".")]
    table: Any = data
    for part in above:
        table = table[part]
    if value is ...:
        del table[last]
    else:
        table[last] = value
    return data


def all_keys_in_use() -> str:
    """The example with every commented-out key taken into use."""
    return re.sub(r"(?m)^#(?=[a-z\[])", "", example_text())


def put_named_files(folder: Path) -> None:
    """The files that the example names."""
    for name, text in (
        ("mqtt.password", "salt\n"),
        ("database.token", "reef:salt\n"),
        ("page.password", "$argon2id$v=19$m=19456,t=3,p=1$c2FsdHNhbHRzYWx0$MTIzNDU2Nzg5MDEyMzQ1Njc4OTA\n"),
        ("keeper.urls", "# phone\njson://127.0.0.1:9/\n"),
        ("keeper.urgent.urls", "json://127.0.0.1:9/loud\n"),
        ("keeper.high.urls", "json://127.0.0.1:9/high\n"),
        ("keeper.low.urls", "json://127.0.0.1:9/low\n"),
        ("ca.pem", ""),
    ):
        (folder / name).write_text(text)
        (folder / name).chmod(0o600)
