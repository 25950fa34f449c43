"""Of which tank is it known how it takes and loses heat, and where not, why?"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterator

from collector.checks.finding import Finding, Verdict
from collector.configuration import Configuration
from collector.errors import StoreError
from collector.learning import standing_heat
from collector.store import StoreReader
from collector.wording.heat import heat_text
from rules import HeatModel, roles_of

_PART = "heat"


def check_heat(configuration: Configuration) -> Iterator[Finding]:
    """Read what the last night's fit says of each tank; nothing while there is no store."""
    path = configuration.store.path
    if not path.is_file():
        return
    now_us = time.time_ns() // 1000
    try:
        with StoreReader(path) as reader:
            found = standing_heat(reader, now_us)
    except (StoreError, sqlite3.Error):
        return  # the check of the store says so
    for tank in configuration.tanks:
        roles = roles_of(tank.rules, configuration.engine.series)
        if "temperature" not in roles:
            continue
        fitted, fitted_us = found.get(tank.name, (None, 0))
        is_known = isinstance(fitted, HeatModel) and fitted.time_constant_hours is not None
        text = heat_text(fitted, roles, tank.rules.time_zone, fitted_us, now_us, configuration.units)
        yield Finding(_PART, Verdict.WELL if is_known else Verdict.NOTE, f"{tank.name}: {text}")
