"""The topics of our own, each with what it says: what the README promises, in one place.

Those of the service itself are made in `collector.mqtt`, requests are read in `collector.intake`.
"""

from __future__ import annotations

from typing import NamedTuple

from rules import AlarmKey


class Topic(NamedTuple):
    """A topic, and what is said there; parts in <> stand for names."""

    pattern: str
    meaning: str


TOPICS = (
    Topic(
        "brinebell/<tank>/alarms/<series>/<cause>",
        "the `state` of an alarm in words of ISA-18.2, such as `normal`, `unacknowledged`, `acknowledged`, "
        "`shelved` and `suppressed by design`, with `priority`, `since`, `first_evidence` and the number of "
        "its `incident`",
    ),
    Topic(
        "brinebell/<tank>/incidents",
        "`open`: the incidents that have not ended, each with `number`, `cause`, `priority`, `series`, "
        "`first_evidence`, `alarmed_at`, `danger_at` and `text`",
    ),
    Topic(
        "brinebell/<tank>/series/<series>/quality",
        "the QARTOD `flag` of the newest reading, as a `word` too, and `since` when it is so",
    ),
    Topic(
        "brinebell/<tank>/series/<series>/expected",
        "the usual band, `low` to `high` in `unit`, for the quarter of an hour that begins at `from`; empty "
        "while it is not known",
    ),
    Topic(
        "brinebell/<tank>/sounder",
        "`sound` while an urgent alarm is unacknowledged, else `quiet`; plain text",
    ),
    Topic(
        "brinebell/service/<client id>/status",
        "`online`, or `offline` when the service has stopped or, by its last will, is lost; plain text",
    ),
    Topic(
        "brinebell/service/<client id>/sign_of_life",
        "once a minute while the loop of the service goes round and its store takes what comes: `at`, and "
        "`every_s`, in how many seconds the next is due; who misses three may think the service dead",
    ),
    Topic(
        "brinebell/service/<client id>/health",
        "how the service is: `verdict` (`well`, `note` or `wrong`), whether it is `storing` what comes, and "
        "`findings`, each with `part`, `verdict`, `text` and how to `mend` it; sent when it changes",
    ),
    Topic(
        "brinebell/service/<client id>/marker",
        "from the service to itself, not retained: what comes behind it is live, what came before is backlog",
    ),
    Topic(
        "brinebell/<tank>/requests",
        "read by the service where `[mqtt] takes_requests` allows it, never retained",
    ),
    Topic(
        "brinebell/<tank>/answers",
        "what became of a request published there: its `id`, whether it is `done`, and `text`; not retained, "
        "and not kept for a broker that is away",
    ),
)


def alarm_topic(alarm: AlarmKey) -> str:
    """Where the state of an alarm is published; `series` is the name of the board for one of a board."""
    return f"brinebell/{alarm.tank}/alarms/{alarm.series}/{alarm.cause}"


def answers_topic(tank: str) -> str:
    """Where it is published what became of requests."""
    return f"brinebell/{tank}/answers"


def incidents_topic(tank: str) -> str:
    """Where the open incidents of a tank are published."""
    return f"brinebell/{tank}/incidents"


def quality_topic(tank: str, series: str) -> str:
    """Where the quality of a series is published."""
    return f"brinebell/{tank}/series/{series}/quality"


def expected_topic(tank: str, series: str) -> str:
    """Where the usual band of a series is published."""
    return f"brinebell/{tank}/series/{series}/expected"


def sounder_topic(tank: str) -> str:
    """Where it is published whether a sounder is to sound."""
    return f"brinebell/{tank}/sounder"
