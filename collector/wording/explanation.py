"""How an incident came about, step by step: what each cause found before it rang, and what rang on what.

For the replay report; reasons and rivals are worded as on the page and in messages.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from collector.configuration import Configuration
from collector.display_units import DisplayUnits
from collector.units.display import display
from collector.wording.evidence import reason_line, reason_lines, rival_lines, series_title
from collector.wording.texts import CAUSE_TEXTS
from collector.wording.times import clock_text, duration_text, moment_text
from rules import CAUSES, AlarmEvent, AlarmRaised, Incident, Judgement

# More lines of growing confidence than this tell nothing new.
_MOST_JUDGEMENTS = 8
# A change of confidence by less is not worth a line.
_LEAST_CHANGE = 0.05
_INDENT = "      "


@dataclass(frozen=True, slots=True)
class Step:
    """An alarm event of an incident, with what its fault found before it, oldest first."""

    event: AlarmEvent
    before: tuple[Judgement, ...] = ()


def explanation(incident: Incident, steps: Iterable[Step], configuration: Configuration) -> str:
    """Tell how an incident came about, in the tank's time."""
    zone = _zone(incident.tank, configuration)
    cause = CAUSES.get(incident.cause)
    title = incident.cause if cause is None else cause.title
    lines = [
        f"Incident {incident.number}: {title}, tank {incident.tank}, {incident.priority}",
        f"Times are the tank's: {zone}.",
    ]
    for step in steps:
        lines += ["", *_step_lines(step, incident.tank, zone, configuration)]
    if incident.ended_at_us is not None:
        lasted = duration_text(max(0, incident.ended_at_us - incident.first_evidence_us))
        lines += [
            "",
            f"{moment_text(incident.ended_at_us, zone)}  incident ended, {lasted} after the first evidence",
        ]
    return "\n".join(lines)


def _step_lines(step: Step, tank: str, zone: str, configuration: Configuration) -> list[str]:
    event = step.event
    cause = CAUSES.get(event.alarm.cause)
    name = event.alarm.cause if cause is None else cause.title
    series, quantity = series_title(event.alarm.series, tank, configuration)
    if not isinstance(event, AlarmRaised):
        value = "" if event.value is None else f" at {_show(event.value, quantity, configuration.units)}"
        return [f"{moment_text(event.at_us, zone)}  {name}, {series}: returned to normal{value}"]
    lines = [f"{moment_text(event.at_us, zone)}  {name}, {series}: alarm raised, {event.priority}"]
    if step.before:
        lines.append("    how the confidence grew")
        lines += [
            f"{_INDENT}{_judgement_line(one, tank, zone, configuration)}" for one in telling(step.before)
        ]
    evidence = event.evidence
    if evidence.confidence is not None:
        lines.append(f"    confidence {100 * evidence.confidence:.0f} %")
    facts = _facts(event, quantity, zone, configuration.units)
    reasons = reason_lines(evidence, tank, configuration)
    for heading, found in (
        ("because", [*reasons, *facts]),
        ("what else it may be, and how to tell", rival_lines(evidence, event.alarm.cause)),
    ):
        if found:
            lines.append(f"    {heading}")
            lines += [f"{_INDENT}{line}" for line in found]
    text = CAUSE_TEXTS.get(event.alarm.cause)
    if text is not None and text.look is not None:
        lines += ["    what to do", f"{_INDENT}{text.look.action.removeprefix('first ')} {text.look.caution}"]
    return lines


def telling(judgements: Sequence[Judgement]) -> list[Judgement]:
    """Of the steps before an alarm those at which the confidence changed, the latest of them."""
    found: list[Judgement] = []
    for one in judgements:
        is_first = not found
        if is_first or abs(one.finding.confidence - found[-1].finding.confidence) >= _LEAST_CHANGE:
            found.append(one)
    return found[-_MOST_JUDGEMENTS:]


def _judgement_line(judgement: Judgement, tank: str, zone: str, configuration: Configuration) -> str:
    finding = judgement.finding
    line = f"{moment_text(judgement.at_us, zone)}  {100 * finding.confidence:3.0f} %"
    if judgement.is_suppressed:
        line += "  suppressed by design"
    if finding.reasons:
        line += f"  {reason_line(finding.reasons[0], tank, configuration)}"
    return line


def _facts(event: AlarmRaised, quantity: str | None, zone: str, units: DisplayUnits) -> list[str]:
    """Value, limit, usual and projection: what an alarm has beside its reasons."""
    evidence = event.evidence
    found = []
    if evidence.value is not None:
        found.append(f"value {_show(evidence.value, quantity, units)}")
    if evidence.limit is not None:
        found.append(f"limit {_show(evidence.limit, quantity, units)}")
    if evidence.expected_low is not None and evidence.expected_high is not None:
        low, high = (
            _show(evidence.expected_low, quantity, units),
            _show(evidence.expected_high, quantity, units),
        )
        found.append(f"usual at this hour {low} to {high}")
    if evidence.since_us is not None:
        found.append(f"since {moment_text(evidence.since_us, zone)}")
    if evidence.danger is not None and evidence.danger_at_us is not None:
        line = f"danger line {_show(evidence.danger, quantity, units)}"
        line += f" about {clock_text(evidence.danger_at_us, event.at_us, zone)}"
        if evidence.danger_earliest_us is not None and evidence.danger_latest_us is not None:
            earliest = clock_text(evidence.danger_earliest_us, event.at_us, zone)
            latest = clock_text(evidence.danger_latest_us, event.at_us, zone)
            line += f", between {earliest} and {latest}"
        found.append(line)
    return found


def _show(value: float, quantity: str | None, units: DisplayUnits) -> str:
    return f"{value:g}" if quantity is None else display(value, quantity, units)


def _zone(tank: str, configuration: Configuration) -> str:
    return next((one.rules.time_zone for one in configuration.tanks if one.name == tank), "UTC")
