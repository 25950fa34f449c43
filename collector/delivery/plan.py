"""Who is told of an incident, over which channels and when: a pure function of the incident event.

Quiet hours, escalation to the next person and acknowledgement will be decided here too: they change
`not_before_us` and who is on the list, nothing else.
"""

from __future__ import annotations

from collector.configuration import Configuration
from collector.delivery.channels import channel_names
from collector.messages import NewMessage
from collector.wording import Kind, message_for
from rules import IncidentEnded, IncidentEvent, IncidentOpened, IncidentUpdated, Priority


def plan_notifications(event: IncidentEvent, configuration: Configuration, now_us: int) -> list[NewMessage]:
    """Return the messages that an incident event asks for, one a person and channel.

    An incident rings when it opens and when it worsens. Its end is told quietly, at the lowest
    priority; more evidence alone is not told.

    Parameters
    ----------
    event
        What the engine said.
    now_us
        By the service's clock; the wording counts from it, and the messages may be sent from it on.
    """
    kind = _kind(event)
    if kind is None:
        return []
    incident = event.incident
    message = message_for(incident, configuration, kind=kind, now_us=now_us)
    return [
        NewMessage(
            incident=incident.number,
            kind=kind,
            person=person.name,
            channel=channel,
            created_us=now_us,
            not_before_us=now_us,
            title=message.title,
            body=message.body,
            priority=Priority.LOW if kind == "ended" else incident.priority,
        )
        for person in configuration.people
        for channel in channel_names(person.urls)
    ]


def _kind(event: IncidentEvent) -> Kind | None:
    match event:
        case IncidentOpened():
            return "opened"
        case IncidentUpdated(worsened=True):
            return "worsened"
        case IncidentEnded():
            return "ended"
    return None
