"""One series over any span: its values and what was usual, another time beside it, and what happened."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
from starlette.exceptions import HTTPException

from collector.pages.drawing import Chart, draw, limit_words
from collector.pages.labels import Labels
from collector.pages.lanes import Lane, incident_lane, work_lane
from collector.pages.moments import full, rfc3339
from collector.pages.record import Buckets, Record
from collector.pages.spans import Link, Span
from collector.pages.usual import usual_over
from collector.reviews import Wanted
from rules import HOUR_US, FloatArray, Incident, IntArray

# Buckets of a chart: about two a point of a phone's screen and three of a desk's, which is what the
# eye can tell apart.
CHART_BUCKETS = 360
_TABLE_ROWS = 24
SPANS = ((6, "6 hours"), (24, "a day"), (168, "a week"), (720, "30 days"), (8784, "a year"))
MOST_HOURS = 10 * 8784
_DAY_US = 24 * HOUR_US
# With what the stretch is compared: how far back that lies, None for its own length.
AGAINST: Mapping[str, tuple[str, int | None]] = MappingProxyType(
    {
        "before": ("the stretch before", None),
        "day": ("a day before", _DAY_US),
        "week": ("a week before", 7 * _DAY_US),
        # Of whole weeks, so that weekdays stand on weekdays.
        "year": ("52 weeks before", 364 * _DAY_US),
    }
)
_MOST_INCIDENTS = 200


class _Columns(NamedTuple):
    """Buckets that were made of others."""

    starts_us: IntArray
    low: FloatArray
    mean: FloatArray
    high: FloatArray
    counts: IntArray


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
    """What the page of a series shows; `hours` is None where a stretch was chosen.

    `lack` says what is missing.
    """

    tank: str
    name: str
    tank_title: str
    time_zone: str
    hours: int | None
    words: str
    span: Span
    links: tuple[Link, ...]
    against: str
    chart: Chart
    limits: str
    lanes: tuple[Lane, ...]
    incidents: tuple[tuple[int, str], ...]
    table: tuple[BucketRow, ...]
    lack: str


def history_of(
    record: Record,
    labels: Labels,
    tank: str,
    name: str,
    now_us: int,
    *,
    hours: int,
    span: Span | None = None,
    against: str = "",
) -> History:
    """A configured series over a span, or over the hours that end now; without readings the chart is empty.

    `against` is a key of `AGAINST`, or empty.
    """
    label = labels.series(tank, name)
    zone = labels.time_zone(tank)
    chosen = span
    if span is None:
        span = Span(now_us - hours * HOUR_US, now_us + 1, zone)
    series = record.series_id(tank, name)
    incidents = _incidents(record, tank, name, span)
    buckets, lack = record.chart(series, span.start_us, span.end_us, CHART_BUCKETS)
    other, other_lack = _other(record, series, span, against)
    chart = draw(
        label,
        buckets,
        span.start_us,
        span.end_us,
        zone,
        moments=[(one.alarmed_at_us, "", "alarm") for one in incidents],
        usual=usual_over(record, series, span),
        other=other,
    )
    coarse = _coarse(buckets)
    others = {"against": against} if against else {}
    return History(
        tank=tank,
        name=name,
        tank_title=labels.tank_title(tank),
        time_zone=zone,
        hours=None if chosen is not None else hours,
        words=span.words
        if chosen is not None
        else dict(SPANS).get(hours, f"{hours} hours" if hours > 1 else "1 hour"),
        span=span,
        links=span.links(others),
        against=against,
        chart=chart,
        limits=limit_words(label),
        lanes=(
            *incident_lane(incidents, labels, span, now_us),
            *work_lane(record.works(tank, span.start_us, span.end_us), span),
        ),
        incidents=tuple((one.number, labels.cause(one.cause)) for one in incidents),
        table=tuple(
            BucketRow(
                start=full(int(coarse.starts_us[at]), zone),
                start_machine=rfc3339(int(coarse.starts_us[at])),
                low=label.show(float(coarse.low[at])),
                mean=label.show(float(coarse.mean[at])),
                high=label.show(float(coarse.high[at])),
                count=int(coarse.counts[at]),
            )
            for at in _filled(coarse)
        ),
        lack=lack or other_lack,
    )


def against_of(query: Mapping[str, str]) -> str:
    """With what an address compares; 400 for what is none of `AGAINST`."""
    against = query.get("against", "")
    if against and against not in AGAINST:
        raise HTTPException(400, f"against={against[:40]} is none of {', '.join(AGAINST)}.")
    return against


def _other(record: Record, series: int, span: Span, against: str) -> tuple[Buckets | None, str]:
    if not against:
        return None, ""
    back_us = AGAINST[against][1] or span.width_us
    found, lack = record.chart(series, span.start_us - back_us, span.end_us - back_us, CHART_BUCKETS)
    return _Columns(found.starts_us + back_us, found.low, found.mean, found.high, found.counts), lack


def _incidents(record: Record, tank: str, name: str, span: Span) -> list[Incident]:
    """Incidents about a series that touch a span, the newest first."""
    wanted = Wanted(tank=tank, from_us=span.start_us, to_us=span.end_us)
    found = (one.incident for one in record.find_incidents(wanted, _MOST_INCIDENTS))
    return [one for one in found if name in one.series]


def _coarse(buckets: Buckets) -> Buckets:
    """As few buckets as the table has rows, made of those of the chart: readings are fetched once."""
    heads = np.arange(0, len(buckets.counts), -(-len(buckets.counts) // _TABLE_ROWS))
    counts = np.add.reduceat(buckets.counts, heads)
    totals = np.add.reduceat(np.where(buckets.counts > 0, buckets.mean * buckets.counts, 0.0), heads)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = totals / counts
    low, high = np.fmin.reduceat(buckets.low, heads), np.fmax.reduceat(buckets.high, heads)
    return _Columns(buckets.starts_us[heads], low, mean, high, counts)


def _filled(buckets: Buckets) -> list[int]:
    """Places of the buckets that hold readings, the newest first."""
    return [at for at in range(len(buckets.counts) - 1, -1, -1) if buckets.counts[at]]
