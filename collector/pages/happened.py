"""All that happened around an incident in one order of time: alarms, messages, answers, works, notes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from operator import attrgetter

from collector.alarm_record import LifeChange
from collector.pages.labels import Labels
from collector.pages.record import Delivery
from collector.reviews import VERDICTS, Note, Verdict
from collector.wording.deliveries import STATES
from collector.wording.times import duration_text
from rules import AlarmEvent, AlarmKey, AlarmRaised, Incident, PlannedWork

# How steps in an alarm's life are told.
_STEPS = {
    "raise": "raised",
    "return": "returned to normal",
    "acknowledge": "acknowledged",
    "reset": "reset",
    "re-alarm": "worse than what was acknowledged",
    "shelve": "shelved",
    "unshelve": "unshelved",
    "suppress": "suppressed by design",
    "unsuppress": "no longer suppressed",
    "take out of service": "taken out of service",
    "return to service": "returned to service",
}
_RAISE, _RETURN = "raise", "return"


@dataclass(frozen=True, slots=True)
class Happening:
    """One thing that happened; `kind` is a class of the style, `who` is empty where no person did it.

    `note` is the number of a note; `struck_us` and `struck_by` say when and by whom it was struck, if it was.
    """

    at_us: int
    kind: str
    what: str
    detail: str = ""
    who: str = ""
    note: int | None = None
    struck_us: int | None = None
    struck_by: str = ""


@dataclass(frozen=True, slots=True)
class Recorded:
    """What is recorded around an incident."""

    incident: Incident
    events: Sequence[AlarmEvent]
    lives: Sequence[LifeChange]
    deliveries: Sequence[Delivery]
    works: Sequence[PlannedWork]
    notes: Sequence[Note]
    verdict: Verdict | None


def happenings(recorded: Recorded, labels: Labels) -> tuple[Happening, ...]:
    """Everything, oldest first; what was at one instant in the order of cause and consequence."""
    incident = recorded.incident
    found = [Happening(incident.first_evidence_us, "evidence", "First evidence")]
    found += _works(recorded.works)
    found += _alarms(recorded.events, recorded.lives, labels)
    found += _messages(recorded.deliveries)
    if incident.ended_at_us is not None:
        found.append(Happening(incident.ended_at_us, "end", "All of it has returned to normal"))
    found += [
        Happening(one.at_us, "note", "Note", one.text, one.who, one.id, one.struck_us, one.struck_by)
        for one in recorded.notes
    ]
    said = recorded.verdict
    if said is not None:
        found.append(
            Happening(
                said.at_us, "verdict", f"Verdict: {said.verdict}", VERDICTS.get(said.verdict, ""), said.who
            )
        )
    return tuple(sorted(found, key=attrgetter("at_us")))


def alarm_name(key: AlarmKey, labels: Labels) -> str:
    """An alarm, as a person reads it."""
    title = labels.series(key.tank, key.series).title
    return f"{labels.cause(key.cause)}, {title}" if key.cause else f"all alarms of {title}"


def _alarms(events: Iterable[AlarmEvent], lives: Iterable[LifeChange], labels: Labels) -> Iterator[Happening]:
    """Steps in alarms' lives with what the engine saw; of a version that kept no lives, what it saw alone."""
    seen = {(one.alarm, one.at_us, isinstance(one, AlarmRaised)): one for one in events}
    for change in lives:
        event = None
        if change.step in (_RAISE, _RETURN):
            event = seen.pop((change.alarm, change.at_us, change.step == _RAISE), None)
        step = _STEPS.get(change.step, change.step)
        state = change.life.state
        details = [] if event is None else [_measured(event, labels)]
        details += [f"now {state.value}"] if state.value != step else []
        details += [change.why] if change.why else []
        yield Happening(
            change.at_us,
            "alarm" if change.step in (_RAISE, _RETURN) else "answer",
            _sentence(f"{alarm_name(change.alarm, labels)}: {step}"),
            "; ".join(filter(None, details)),
            change.who,
        )
    for event in seen.values():
        is_raised = isinstance(event, AlarmRaised)
        step = _STEPS[_RAISE if is_raised else _RETURN]
        what = _sentence(f"{alarm_name(event.alarm, labels)}: {step}")
        yield Happening(event.at_us, "alarm", what, _measured(event, labels))


def _measured(event: AlarmEvent, labels: Labels) -> str:
    label = labels.series(event.alarm.tank, event.alarm.series)
    value = event.evidence.value if isinstance(event, AlarmRaised) else event.value
    words = [] if value is None else [f"at {label.show(value)}"]
    return ", ".join([str(event.priority), *words] if isinstance(event, AlarmRaised) else words)


def _messages(deliveries: Iterable[Delivery]) -> Iterator[Happening]:
    for one in deliveries:
        message = one.message
        whom = f"{message.person} over {message.channel}"
        stands = STATES.get(one.state, one.state)
        yield Happening(
            message.created_us,
            "message",
            f"Message to {whom} ({message.kind}): {message.title}",
            stands,
        )
        for number, tried in enumerate(one.tries, start=1):
            reason = f": {tried.reason}" if tried.reason else ""
            took = ""
            if tried.ended_us is not None:
                took = f", after {max(0.0, (tried.ended_us - tried.started_us) / 1e6):.1f} s"
            yield Happening(
                tried.started_us,
                "try",
                f"Try {number} to reach {whom}",
                f"{tried.outcome or 'running'}{took}{reason}",
            )


def _works(works: Iterable[PlannedWork]) -> Iterator[Happening]:
    for work in works:
        name = work.kind.replace("_", " ")
        lasts = duration_text(work.to_us - work.from_us)
        yield Happening(work.from_us, "work", f"Planned work begins: {name}", f"for {lasts}")
        yield Happening(work.to_us, "work", f"Planned work ends: {name}", "the water settles")


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
