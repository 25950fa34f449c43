"""What a search for better settings found, on one page: the trade-off, the best, and where it rings."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from collector.configuration import Configuration
from collector.pages.templating import style, templates
from collector.report.charts import TankReport, tank_charts
from collector.report.trade_off import trade_off
from collector.tuning import Chosen, Parameter, Part, Tried, beside_lines, changes, held_out_text, values_text
from collector.wording.times import duration_text
from rules import HOUR_US, Annotation, Incident, Weights

# A page with more recordings than this is no page that somebody reads.
_MOST_PARTS = 12


class TriedRow(NamedTuple):
    """A setting and what came of it, in words."""

    values: str
    false: int
    missed: int
    delay: str
    nights: int
    cost: str
    mark: str


class PartReport(NamedTuple):
    """The charts of one recording."""

    title: str
    tanks: list[TankReport]


def tune_html(
    title: str,
    chosen: Chosen,
    tried: Sequence[Tried],
    parameters: Sequence[Parameter],
    weights: Weights,
    parts: Sequence[Part],
    before: Configuration,
    after: Configuration,
    patch: str,
) -> str:
    """The page.

    Parameters
    ----------
    title
        Names the recordings.
    before, after
        The configuration as it is, and with the best values.
    patch
        The lines of the configuration that change.
    """
    front = [*chosen.front, *(one for one in (chosen.before, chosen.best) if one not in chosen.front)]
    front = [one for place, one in enumerate(front) if one not in front[:place]]
    is_better = chosen.best is not chosen.before
    return (
        templates()
        .get_template("tune_report.html")
        .render(
            title=title,
            style=style(),
            count=len(tried),
            is_better=is_better,
            saved=chosen.before.cost(weights) - chosen.best.cost(weights),
            best=values_text(chosen.best.candidate),
            keys=[(one.key, ", ".join(one.values)) for one in parameters],
            plot=trade_off(chosen, tried),
            rows=[_row(one, chosen, weights) for one in front],
            beside=list(beside_lines(chosen, weights)) if is_better else [],
            held_out=held_out_text(chosen) if is_better else "",
            changes=[line.strip() for line in changes(chosen)] if is_better else [],
            patch=patch,
            weights=weights,
            parts=list(_parts(parts, chosen, parameters, before, after)),
        )
    )


def _row(tried: Tried, chosen: Chosen, weights: Weights) -> TriedRow:
    delay = "-" if math.isnan(tried.delay_hours) else duration_text(round(tried.delay_hours * HOUR_US))
    return TriedRow(
        "as it is" if tried is chosen.before else values_text(tried.candidate),
        tried.false,
        tried.missed,
        delay,
        tried.nights,
        f"{tried.cost(weights):.1f}",
        "best" if tried is chosen.best else "",
    )


def _parts(
    parts: Sequence[Part],
    chosen: Chosen,
    parameters: Sequence[Parameter],
    before: Configuration,
    after: Configuration,
) -> Iterator[PartReport]:
    """Each recording: series of the keys that were tried, else those of what truly failed."""
    weeks = iter(zip(chosen.before.weeks, chosen.best.weeks, strict=True))
    for number, part in enumerate(parts[:_MOST_PARTS], start=1):
        here = [next(weeks, None) for _ in part.weeks]
        lines: list[tuple[str, str, tuple[int, str, str]]] = []
        for one in here:
            if one is None:
                continue
            was, now = one
            lines += _alarms(was.incidents, "as it is")
            lines += _alarms(now.incidents, "with the best") if chosen.best is not chosen.before else []
        lines += _truth(part.annotations)
        tried = {(path[1], path[3]) for path in (one.path for one in parameters) if len(path) > 4}
        named = {(tank, name) for tank, name, _ in lines}

        def moments(
            tank: str, name: str, all_lines: Sequence[tuple[str, str, tuple[int, str, str]]] = tuple(lines)
        ) -> Iterable[tuple[int, str, str]]:
            return [moment for one, other, moment in all_lines if (one, other) == (tank, name)]

        yield PartReport(
            f"Recording {number}" if len(parts) > 1 else "The recording",
            tank_charts(
                part.recording, after, part.versions, moments, only=tried or named or None, before=before
            ),
        )


def _alarms(incidents: Iterable[Incident], name: str) -> list[tuple[str, str, tuple[int, str, str]]]:
    kind = "evidence" if name == "as it is" else "alarm"
    return [
        (one.tank, series, (one.alarmed_at_us, f"alarm {name}", kind))
        for one in incidents
        for series in one.series
    ]


def _truth(annotations: Iterable[Annotation]) -> list[tuple[str, str, tuple[int, str, str]]]:
    return [
        (one.tank, series, (one.from_us, "it began", "end")) for one in annotations for series in one.series
    ]
