"""Charts of a whole recording, tank by tank, for reports."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import NamedTuple

import numpy as np

from collector.configuration import Configuration
from collector.learning import Expected, HeatVersion, Version
from collector.pages.drawing import Chart, draw, limit_words
from collector.pages.labels import Labels
from collector.pages.spans import Span
from collector.pages.usual import usual_of
from collector.recordings import Recording
from collector.store import buckets_of_readings
from rules import Flag

# As fine as a wide screen shows.
_BUCKETS = 800

# Vertical lines of a series: instant, words, kind.
Moments = Callable[[str, str], Iterable[tuple[int, str, str]]]


class TankReport(NamedTuple):
    """The charts of one tank, each with its limits in words."""

    title: str
    time_zone: str
    charts: tuple[tuple[Chart, str], ...]


def tank_charts(
    recording: Recording,
    configuration: Configuration,
    versions: Sequence[Version | HeatVersion],
    moments: Moments,
    *,
    only: Iterable[tuple[str, str]] | None = None,
    before: Configuration | None = None,
) -> list[TankReport]:
    """Draw every series that has readings, with what was usual by the versions that judged it.

    Parameters
    ----------
    only
        Series to draw, as (tank, name); None for all.
    before
        The configuration whose other limits are drawn beside those of `configuration`.
    """
    if not len(recording):
        return []
    start_us, end_us = int(recording.times_us[0]), int(recording.times_us[-1]) + 1
    labels = Labels(configuration)
    earlier = None if before is None else Labels(before)
    wanted = None if only is None else set(only)
    found = []
    for tank in configuration.tanks:
        zone = tank.rules.time_zone
        charts = []
        for index, one in enumerate(configuration.series):
            mine = recording.series == index
            is_wanted = wanted is None or (one.tank, one.name) in wanted
            if one.tank != tank.name or not is_wanted or not mine.any():
                continue
            label = labels.series(one.tank, one.name)
            was = None if earlier is None else earlier.series(one.tank, one.name)
            flags = np.full(int(mine.sum()), int(Flag.PASS), np.uint8)
            chart = draw(
                label,
                buckets_of_readings(
                    start_us, end_us, _BUCKETS, recording.times_us[mine], recording.values[mine], flags
                ),
                start_us,
                end_us,
                zone,
                moments=sorted(moments(one.tank, one.name)),
                usual=usual_of(_expected(versions, index), Span(start_us, end_us, zone)),
                earlier=was,
            )
            words = limit_words(label)
            if was is not None and limit_words(was) != words:
                words = f"{words}; before: {limit_words(was)}"
            charts.append((chart, words))
        if charts:
            found.append(TankReport(labels.tank_title(tank.name), zone, tuple(charts)))
    return found


def _expected(versions: Sequence[Version | HeatVersion], index: int) -> Expected:
    return Expected(
        [
            (one.applies_from_us, one.baseline)
            for one in versions
            if isinstance(one, Version) and one.series == index
        ]
    )
