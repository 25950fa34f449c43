"""One series over a span: the band of low and high with the line of means, and the same as a table."""

from __future__ import annotations

from dataclasses import dataclass

from collector.pages.drawing import Chart, draw, limit_words
from collector.pages.labels import Labels
from collector.pages.moments import full, rfc3339
from collector.pages.record import Buckets, Record
from rules import HOUR_US

# Buckets of a chart: about two a point of a phone's screen and three of a desk's, which is what the
# eye can tell apart.
CHART_BUCKETS = 360
_TABLE_ROWS = 24
SPANS = ((6, "6 hours"), (24, "a day"), (168, "a week"), (720, "30 days"), (8784, "a year"))
MOST_HOURS = 10 * 8784


@dataclass(frozen=True, slots=True)
class BucketRow:
    """One line of the table."""

    start: str
    start_machine: str
    low: str
    mean: str
    high: str
    count: int


@dataclass(frozen=True, slots=True)
class History:
    """What the page of a series shows."""

    tank_title: str
    time_zone: str
    hours: int
    span: str
    chart: Chart
    limits: str
    table: tuple[BucketRow, ...]


def history_of(record: Record, labels: Labels, tank: str, name: str, hours: int, now_us: int) -> History:
    """A configured series over the hours that end now; a series without readings gives an empty chart."""
    label = labels.series(tank, name)
    zone = labels.time_zone(tank)
    start_us, end_us = now_us - hours * HOUR_US, now_us + 1
    series = record.series_id(tank, name)
    chart = draw(label, record.buckets(series, start_us, end_us, CHART_BUCKETS), start_us, end_us, zone)
    coarse = record.buckets(series, start_us, end_us, _TABLE_ROWS)
    rows = tuple(
        BucketRow(
            start=full(int(coarse.starts_us[at]), zone),
            start_machine=rfc3339(int(coarse.starts_us[at])),
            low=label.show(float(coarse.low[at])),
            mean=label.show(float(coarse.mean[at])),
            high=label.show(float(coarse.high[at])),
            count=int(coarse.counts[at]),
        )
        for at in _filled(coarse)
    )
    return History(
        tank_title=labels.tank_title(tank),
        time_zone=zone,
        hours=hours,
        span=dict(SPANS).get(hours, f"{hours} hours" if hours > 1 else "1 hour"),
        chart=chart,
        limits=limit_words(label),
        table=rows,
    )


def _filled(buckets: Buckets) -> list[int]:
    """Places of the buckets that hold readings, the newest first."""
    return [at for at in range(len(buckets.counts) - 1, -1, -1) if buckets.counts[at]]
