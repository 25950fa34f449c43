"""A contact where no water should be: what it says is a leak, at once and by its single readings.

A tank is looked at every five minutes, and water on a floor does not wait for that. So the alarm of such a
series is raised as that of a limit, and names its cause; the fault of the tank joins its incident later
with what else it knows.
"""

from __future__ import annotations

from dataclasses import replace

from rules.events import Priority
from rules.roles import roles_of
from rules.setup import EngineRules, LimitAlarm, SeriesRules

ROLE = "floor_contact"
CAUSE = "leak"
# A wet contact is sure; what wets it may be a hand with a bucket.
CONFIDENCE = 0.95
# Closed is wet: two wires in water conduct (`collector.payloads.states` says the same).
_CLOSED_RINGS = LimitAlarm(
    setpoint=0.5,
    is_high=True,
    is_danger=False,
    deadband=0.0,
    on_delay_us=0,
    off_delay_us=0,
    priority=Priority.URGENT,
)


def with_floor_contacts(rules: EngineRules) -> tuple[SeriesRules, ...]:
    """The series of all tanks, where those of floor contacts ring as a leak, urgently and without a delay.

    Which state rings is as configured, closed where nothing is; so are delays of a contact that bobs.
    """
    names = {(tank.name, roles_of(tank, rules.series).get(ROLE)) for tank in rules.tanks}
    return tuple(_as_leak(one) if (one.tank, one.name) in names else one for one in rules.series)


def is_wet(rules: SeriesRules, state: float) -> bool:
    """Whether a state of a contact, 0 or 1, is the one that rings."""
    rings_high = all(alarm.is_high for alarm in rules.limit_alarms)
    return state > 0.5 if rings_high else state < 0.5


def _as_leak(series: SeriesRules) -> SeriesRules:
    alarms = series.limit_alarms or (_CLOSED_RINGS,)
    return replace(
        series,
        limit_alarms=tuple(replace(alarm, cause=CAUSE, priority=Priority.URGENT) for alarm in alarms),
    )
