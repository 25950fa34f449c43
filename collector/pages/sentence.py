"""The one sentence with which the page begins: must somebody get up?

Quiet is only claimed while readings arrive: a page that has not heard of the tank for a while says so
before anything else.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from collector.pages.labels import Labels, SeriesLabel
from collector.pages.moments import day_and_clock
from collector.pages.record import BrokerState, IncidentRecord
from collector.wording import crossed_danger_line
from rules import HOUR_US, Incident

# For a series without a gap limit: most boards publish every minute or faster, and ten silent minutes
# more than a broker's restart takes.
USUAL_GAP_US = HOUR_US // 4
# Of these the value says nothing.
_WITHOUT_VALUE = frozenset({"probe_silent", "device_offline", "contact_alarm"})
# These say which equipment it is; after other causes stands the name of the series.
_NAMING_THE_CULPRIT = frozenset({"heater_failed_off", "heater_stuck_on"})


@dataclass(frozen=True, slots=True)
class SeriesNow:
    """What the sentence needs of one series; `value` and `observed_us` are None if it has no reading."""

    label: SeriesLabel
    value: float | None
    observed_us: int | None
    trend: str
    is_silent: bool


@dataclass(frozen=True, slots=True)
class Sentence:
    """The words, the incident that they tell of, and how many more there are.

    `rank` orders the tanks of a page: 0 quiet, 1 not watched, above that the incident's priority.
    """

    text: str
    rank: int
    incident: int | None = None


def gap_limit_us(label: SeriesLabel) -> int:
    """How long a series may be without a reading before it counts as silent."""
    gap = None if label.rules is None else label.rules.gap
    return USUAL_GAP_US if gap is None else gap.fail_after_us


def sentence_for_tank(
    tank: str,
    series: Sequence[SeriesNow],
    lasting: Sequence[IncidentRecord],
    last_ended: Incident | None,
    labels: Labels,
    now_us: int,
) -> Sentence:
    """Say the worst thing about a tank, or since when there has been none.

    Parameters
    ----------
    lasting
        The tank's incidents that have not ended.
    last_ended
        Its incident that ended last, if there was one.
    """
    zone = labels.time_zone(tank)
    if lasting:
        worst = max((one.incident for one in lasting), key=lambda one: (one.priority.rank, one.number))
        more = len(lasting) - 1
        rest = "" if not more else f", and {more} more incident{'s' if more > 1 else ''}"
        text = _incident_text(worst, series, labels, now_us) + rest
        return Sentence(text, 2 + worst.priority.rank, worst.number)
    heard = [one.observed_us for one in series if one.observed_us is not None]
    if not heard:
        return Sentence("No readings yet: nothing is watched", 1)
    silent = [one for one in series if one.is_silent]
    if len(silent) == len(series):
        return Sentence(f"No readings since {day_and_clock(max(heard), now_us, zone)}: nothing is watched", 1)
    quiet = "quiet, no incident so far"
    if last_ended is not None and last_ended.ended_at_us is not None:
        quiet = f"quiet since {day_and_clock(last_ended.ended_at_us, now_us, zone)}"
    if not silent:
        return Sentence(f"All {quiet}", 0)
    who = silent[0].label.title if len(silent) == 1 else f"{len(silent)} series"
    return Sentence(f"{quiet.capitalize()}, but {who} {'is' if len(silent) == 1 else 'are'} silent", 1)


def _incident_text(incident: Incident, series: Sequence[SeriesNow], labels: Labels, now_us: int) -> str:
    name = incident.series[0] if incident.series else ""
    parts = [f"{incident.priority.capitalize()}: {labels.cause(incident.cause)}"]
    zone = labels.time_zone(incident.tank)
    here = next((one for one in series if one.label.name == name), None)
    if incident.cause in _WITHOUT_VALUE:
        since_us = incident.evidence.since_us
        since = day_and_clock(incident.first_evidence_us if since_us is None else since_us, now_us, zone)
        is_board = incident.cause == "device_offline"
        where = _board(incident) if is_board else labels.series(incident.tank, name).title
        danger = ", the danger line was crossed" if crossed_danger_line(incident) else ""
        return f"{parts[0]}, {where}, since {since}{danger}"
    if here is not None:
        value = here.label.show(here.value)
        if incident.cause not in _NAMING_THE_CULPRIT:
            value = f"{here.label.title} {value}"
        parts.append(value if here.is_silent or not here.trend else f"{value} {here.trend}")
    danger = _danger_text(incident, here, now_us, zone)
    return ", ".join([*parts, danger] if danger else parts)


def _danger_text(incident: Incident, here: SeriesNow | None, now_us: int, zone: str) -> str:
    evidence = incident.evidence
    if here is not None and here.value is not None and here.label.rules is not None:
        low = here.label.rules.danger_line(is_high=False)
        high = here.label.rules.danger_line(is_high=True)
        if (low is not None and here.value < low) or (high is not None and here.value > high):
            return "beyond the danger line"
    if evidence.danger_at_us is None:
        return ""
    # What was projected and has not come is told as that, not as danger now.
    when = day_and_clock(evidence.danger_at_us, now_us, zone)
    return f"danger about {when}" if evidence.danger_at_us > now_us else f"danger was expected {when}"


def _board(incident: Incident) -> str:
    names = [alarm.series for alarm in incident.alarms if alarm.cause == incident.cause]
    return names[-1] if names else incident.tank


def broker_text(state: BrokerState | None, now_us: int, time_zone: str) -> str:
    """How it stands with the broker; empty where nobody tells."""
    if state is None:
        return ""
    since = "" if state.since_us is None else f" since {day_and_clock(state.since_us, now_us, time_zone)}"
    if not state.is_connected:
        return f"Broker: not connected{since or ', never was'}"
    return f"Broker: connected{since}" + (", catching up" if state.is_catching_up else "")
