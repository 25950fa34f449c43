"""A recording written as CSV that reads back the same."""

from __future__ import annotations

import io

from collector.account import rfc3339
from collector.configuration import Configuration
from collector.recordings.recording import Recording

# Without a unit it would be read in the series' own.
_SPELLED = {"practical_salinity": "PSS-78"}


def csv_text(recording: Recording, configuration: Configuration) -> str:
    """The readings in long form, `time,series,value,unit`, one a line, in canonical units."""
    from rules import QUANTITIES

    names = [f"{one.tank}/{one.name}" for one in configuration.series]
    units = [QUANTITIES[one.quantity] or _SPELLED.get(one.quantity, "") for one in configuration.series]
    out = io.StringIO()
    out.write("time,series,value,unit\n")
    rows = zip(recording.times_us.tolist(), recording.series.tolist(), recording.values.tolist(), strict=True)
    for time_us, series, value in rows:
        out.write(f"{rfc3339(time_us)},{names[series]},{value!r},{units[series]}\n")
    return out.getvalue()
