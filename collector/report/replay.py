"""What a replay found, on one page: a sentence, the incidents, the truth, and a chart of each series.

The charts and the look are those of the pages; nothing is fetched, and no script runs.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from collector.account import lasted_text
from collector.configuration import Configuration
from collector.learning import HeatVersion, Version
from collector.pages.labels import Labels
from collector.pages.templating import style, templates
from collector.recordings import Recording
from collector.replay import Replayed, Ring, outcome_text, told
from collector.report.charts import tank_charts
from collector.wording.times import moment_text
from rules import CAUSES, Incident, Score


class IncidentRow(NamedTuple):
    """An incident as a row of the list."""

    number: int
    since: str
    alarmed: str
    what: str
    where: str
    priority: str
    lasted: str
    message: str
    rung: tuple[str, ...]


class TruthRow(NamedTuple):
    """What truly happened, and what became of it."""

    began: str
    what: str
    outcome: str


def report_html(
    title: str,
    recording: Recording,
    replayed: Replayed,
    configuration: Configuration,
    lacks: Sequence[str],
    score: Score | None,
    versions: Sequence[Version | HeatVersion] = (),
) -> str:
    """The page; `title` names the recording, `versions` are what had been learned of its tanks."""
    labels = Labels(configuration)
    rings = [ring for ring in replayed.rings if not ring.is_quiet]
    rows = [_incident_row(one, replayed.rings, configuration, labels) for one in replayed.incidents]
    return (
        templates()
        .get_template("report.html")
        .render(
            title=title,
            style=style(),
            sentence=_sentence(replayed, rings),
            incidents=rows,
            truths=[] if score is None else _truth_rows(score, configuration),
            false_alarms=None if score is None else len(score.false),
            quiet_days=0.0 if score is None else score.months * 30.4375,
            lacks=lacks,
            tanks=tank_charts(
                recording,
                configuration,
                versions,
                lambda tank, series: _moments(tank, series, replayed, score),
            ),
        )
    )


def _sentence(replayed: Replayed, rings: Sequence[Ring]) -> str:
    if not replayed.incidents:
        return "Nothing would have rung."
    nights = sum(ring.is_night for ring in rings)
    return (
        f"{_count(len(replayed.incidents), 'incident')}, {_count(len(rings), 'ring')}, "
        f"{nights or 'none'} of them at night."
    )


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def _zone(tank: str, configuration: Configuration) -> str:
    return next((one.rules.time_zone for one in configuration.tanks if one.name == tank), "UTC")


def _what(cause: str) -> str:
    return CAUSES[cause].title if cause in CAUSES else cause


def _incident_row(
    incident: Incident, rings: Iterable[Ring], configuration: Configuration, labels: Labels
) -> IncidentRow:
    zone = _zone(incident.tank, configuration)
    return IncidentRow(
        incident.number,
        moment_text(incident.first_evidence_us, zone),
        moment_text(incident.alarmed_at_us, zone),
        _what(incident.cause),
        ", ".join(labels.series(incident.tank, name).title for name in incident.series),
        str(incident.priority),
        lasted_text(incident),
        told(incident, configuration),
        tuple(
            f"{ring.person} at {moment_text(ring.at_us, zone)}{', at night' if ring.is_night else ''}"
            for ring in rings
            if ring.incident == incident.number and not ring.is_quiet
        ),
    )


def _truth_rows(score: Score, configuration: Configuration) -> list[TruthRow]:
    return [
        TruthRow(
            moment_text(one.annotation.from_us, _zone(one.annotation.tank, configuration)),
            _what(one.annotation.cause),
            outcome_text(one),
        )
        for one in score.found
    ]


def _moments(
    tank: str, series: str, replayed: Replayed, score: Score | None
) -> Iterable[tuple[int, str, str]]:
    """What began, and when it alarmed, of what concerns a series."""
    for one in () if score is None else score.found:
        if one.annotation.tank == tank and series in one.annotation.series:
            yield one.annotation.from_us, "it began", "evidence"
    for incident in replayed.incidents:
        if incident.tank == tank and series in incident.series:
            yield incident.alarmed_at_us, f"alarm {incident.number}", "alarm"
