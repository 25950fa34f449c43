"""The band of what was usual then, as charts draw it."""

from __future__ import annotations

import numpy as np

from collector.learning import Expected
from collector.pages.drawing import Usual
from collector.pages.record import Record
from collector.pages.spans import Span

# As fine as the bands themselves are over a day and a half; over longer spans as a chart can show.
POINTS = 180


def usual_over(record: Record, series: int, span: Span) -> Usual:
    """What was usual for a series over a chart, by what had been learned of it at each instant."""
    return usual_of(Expected.of(record.usual_versions(series, span.start_us, span.end_us)), span)


def usual_of(expected: Expected, span: Span) -> Usual:
    """The band over a chart; NaN where nothing was known."""
    width_us = max(1, span.width_us // POINTS)
    starts_us = span.start_us + width_us * np.arange(POINTS + 1, dtype=np.int64)
    return Usual(starts_us + width_us // 2, *expected.over(starts_us, width_us))
