"""Of which series is it known what is usual, which are still learning, and which have no usual pattern?"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterator

from collector.checks.finding import Finding, Verdict
from collector.configuration import Configuration
from collector.errors import StoreError
from collector.learning import standing
from collector.store import StoreReader
from collector.wording.usual import usual_text
from rules import TWO_STATE, WeekProfile

_PART = "usual"


def check_usual(configuration: Configuration) -> Iterator[Finding]:
    """Read what the last night's fit says; nothing while there is no store."""
    path = configuration.store.path
    if not path.is_file():
        return
    now_us = time.time_ns() // 1000
    try:
        with StoreReader(path) as reader:
            known = {(one.tank, one.name): one.id for one in reader.series_list()}
            ids = [known.get((one.tank, one.name), -1) for one in configuration.series]
            fits = standing(reader, ids, now_us)
    except (StoreError, sqlite3.Error):
        return  # the check of the store says so
    count = 0
    for index, rules in enumerate(configuration.engine.series):
        if rules.quantity in TWO_STATE:
            continue
        fitted = fits[index].fitted if index in fits else None
        if isinstance(fitted, WeekProfile):
            count += 1
        else:
            text = f"{rules.tank}/{rules.name}: {usual_text(fitted, rules, now_us, configuration.units)}"
            yield Finding(_PART, Verdict.NOTE, text)
    if count:
        yield Finding(_PART, Verdict.WELL, f"known of {count} series")
