"""What a tank looked like before an incident: every series in the hour before the first evidence."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from collector.learning import Expected
from collector.pages.labels import Labels, SeriesLabel
from collector.pages.record import Record
from collector.wording.times import duration_text
from rules import HOUR_US, Incident, PlannedWork

_DAY_US = 24 * HOUR_US
_USUAL_SLACK = 1e-9


@dataclass(frozen=True, slots=True)
class BeforeRow:
    """A series: its mean in the hour before and a day earlier, what was usual then, and where it lay."""

    title: str
    address: str
    value: str
    day_earlier: str
    usual: str
    where: str


class Before(NamedTuple):
    """What is known of the hour before; `works` tells of work on the tank in the day before."""

    rows: tuple[BeforeRow, ...]
    works: tuple[str, ...]


def before(record: Record, labels: Labels, incident: Incident) -> Before:
    """Look at every configured series of the tank."""
    at_us = min(incident.first_evidence_us, incident.alarmed_at_us)
    rows = []
    for label in labels.all_series:
        if label.tank != incident.tank:
            continue
        try:
            series = record.series_id(label.tank, label.name)
        except KeyError:
            continue
        rows.append(_row(record, series, label, at_us))
    works = record.works(incident.tank, at_us - _DAY_US, at_us + 1)
    return Before(tuple(rows), tuple(_work_text(one, at_us) for one in works))


def _row(record: Record, series: int, label: SeriesLabel, at_us: int) -> BeforeRow:
    mean = _mean(record, series, at_us - HOUR_US, at_us)
    middle_us = np.array([at_us - HOUR_US // 2], np.int64)
    usual, where = "", ""
    if not label.is_two_state:
        expected = Expected.of(record.usual_versions(series, at_us - HOUR_US, at_us))
        low, high = (float(edge[0]) for edge in expected.at(middle_us))
        if np.isfinite(low) and np.isfinite(high):
            usual = f"{label.show(low)} to {label.show(high)}"
            where = _where(mean, low, high)
    return BeforeRow(
        label.title,
        f"/series/{label.tank}/{label.name}",
        label.show(mean),
        label.show(_mean(record, series, at_us - _DAY_US - HOUR_US, at_us - _DAY_US)),
        usual or "not known then",
        where,
    )


def _where(value: float, low: float, high: float) -> str:
    if not np.isfinite(value):
        return ""
    if value < low - _USUAL_SLACK:
        return "below"
    return "above" if value > high + _USUAL_SLACK else "within"


def _mean(record: Record, series: int, from_us: int, to_us: int) -> float:
    buckets = record.buckets(series, from_us, to_us, 1)
    return float(buckets.mean[0]) if buckets.counts[0] else float("nan")


def _work_text(work: PlannedWork, at_us: int) -> str:
    name = work.kind.replace("_", " ")
    if work.to_us > at_us:
        return f"{name} was going on"
    return f"{name} ended {duration_text(at_us - work.to_us)} before"
