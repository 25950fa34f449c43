"""Which channels refuse messages, by what became of the last ones?"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator

from collector.checks.finding import Finding, Verdict
from collector.configuration import Configuration
from collector.errors import StoreError
from collector.store import StoreReader
from collector.wording.times import moment_text

_PART = "delivery"


def check_channels(configuration: Configuration) -> Iterator[Finding]:
    """Read which channels fail; nothing while there is no store or none does."""
    if not configuration.store.path.is_file():
        return
    try:
        with StoreReader(configuration.store.path) as reader:
            failing = reader.failing_channels()
    except (StoreError, sqlite3.Error):
        return  # the check of the store says so
    zone = configuration.tanks[0].rules.time_zone if configuration.tanks else "UTC"
    for one in failing:
        since = moment_text(one.since_us, zone)
        yield Finding(
            _PART,
            Verdict.WRONG,
            f"{one.person}: {one.channel} takes no message since {since} ({one.reason})",
            "messages go over the next channel meanwhile; correct this line of the person's URLs, or wait "
            "for the service behind it: `brinebell check --ring` tries it",
        )
