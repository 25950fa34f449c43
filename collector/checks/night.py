"""Would somebody be woken tonight, and is an alarm out of service that somebody may have forgotten?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import astuple, replace

from collector.checks.finding import Finding, Verdict
from collector.configuration import Configuration
from collector.delivery import channel_names
from collector.errors import StoreError
from collector.store import StoreReader
from collector.telling import Person, people_of
from collector.wording.times import moment_text
from rules import AlarmState, Priority

_PART = "night"


def check_night(configuration: Configuration, now_us: int) -> Iterator[Finding]:
    """Look at nights and absences, and at what is out of service."""
    zones = {one.name: one.rules.time_zone for one in configuration.tanks}
    people = [one for one in people_of(configuration, channel_names) if one.channels[Priority.URGENT]]
    if people:
        yield _whom(people, next(iter(zones.values()), "UTC"), now_us)
    try:
        with StoreReader(configuration.store.path) as reader:
            lives = reader.alarm_lives()
    except StoreError:
        return
    for alarm, life in sorted(lives.items(), key=lambda one: astuple(one[0])):
        hold = next((one for one in life.holds if one.kind is AlarmState.OUT_OF_SERVICE), None)
        # That a series is out of service is told once, not for each of its alarms.
        if hold is None or (alarm.cause and replace(alarm, cause="") in lives):
            continue
        what = f"{alarm.series}/{alarm.cause}" if alarm.cause else alarm.series
        why = f" ({hold.why})" if hold.why else ""
        since = moment_text(hold.from_us, zones.get(alarm.tank, "UTC"))
        yield Finding(
            _PART,
            Verdict.NOTE,
            f"{what} in {alarm.tank} is out of service since {since}"
            f" by {hold.who or 'somebody'}{why}: none of its alarms rings",
            f"when it is mended: brinebell repair end {what} --tank {alarm.tank}",
        )


def _whom(people: list[Person], zone: str, now_us: int) -> Finding:
    woken = [one for one in people if Priority.URGENT in one.rings_at_night or one.night[0] == one.night[1]]
    if not woken:
        return Finding(
            _PART,
            Verdict.WRONG,
            "nobody is rung at night, however urgent it is",
            'let rings_at_night of at least one person hold "urgent"',
        )
    there = [one for one in woken if not one.is_away(now_us, zone)]
    if not there:
        return Finding(
            _PART,
            Verdict.NOTE,
            f"everybody who may be rung at night is away now: {_names(woken)}",
            "they are rung all the same; let somebody ring at night who is near the tank",
        )
    return Finding(_PART, Verdict.WELL, f"what is urgent rings tonight: {_names(there)}")


def _names(people: list[Person]) -> str:
    return ", then ".join(one.name for one in people)
