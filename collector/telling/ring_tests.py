"""A ring by day that means nothing but "do you hear me?", and what is told when nobody answers it.

The way to a phone fails silently: an app that is logged out, a number that has changed. Each person is
rung on the first Saturday of a month (or every Saturday), by the channels of urgent messages.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from collector.alarm_record import RingTest
from collector.links import Links
from collector.messages import NewMessage
from collector.telling.letters import how_to_answer
from collector.telling.people import Person
from rules import HOUR_US, MICROSECONDS, Priority

SCHEDULES = ("monthly", "weekly", "never")
_SATURDAY = 5

TITLE = "Test ring: this is how Brinebell wakes you"
BODY = "Nothing is wrong. Answer it, so that Brinebell knows you heard:"


class RingTests:
    """When a test ring is due, and whether it was answered.

    Parameters
    ----------
    rings
        The last one of each person, as recorded.
    schedule
        One of `SCHEDULES`.
    at_minutes
        Minutes since midnight, on the wall in `zone`.
    answer_us
        How long an answer is waited for.
    start_us
        When the service was started the first time: before it nothing was due.
    links
        By which it can be answered from a phone, if at all.
    """

    def __init__(
        self,
        rings: Iterable[RingTest],
        schedule: str,
        at_minutes: int,
        answer_us: int,
        zone: str,
        start_us: int,
        links: Links | None = None,
    ) -> None:
        self._rings = {one.person: one for one in rings}
        self._schedule, self._at_minutes, self._answer_us = schedule, at_minutes, answer_us
        self._zone, self._start_us, self._links = zone, start_us, links
        self._changed: list[RingTest] = []
        # By person and from when: it is asked at every commit.
        self._due: dict[tuple[str, int], int] = {}

    def wakes_us(self, people: Sequence[Person]) -> int | None:
        """When there is something to do; None if never."""
        if self._schedule == "never":
            return None
        wakes = [self._due_us(one) for one in people]
        wakes += [one.rung_us + self._answer_us for one in self._rings.values() if _is_awaited(one)]
        return min(wakes, default=None)

    def turn(self, people: Sequence[Person], now_us: int) -> list[NewMessage]:
        """Ring where that is due, and tell where no answer came."""
        if self._schedule == "never":
            return []
        messages: list[NewMessage] = []
        for ring in list(self._rings.values()):
            if _is_awaited(ring) and ring.rung_us + self._answer_us <= now_us:
                self._keep(ring._replace(missed_us=now_us))
                messages += self._missed(ring, people, now_us)
        for person in people:
            if self._due_us(person) <= now_us:
                self._keep(RingTest(person.name, now_us))
                body = f"{BODY}\n{how_to_answer(person, None, self._links, now_us)}"
                messages += [
                    NewMessage(None, "test", person.name, one, now_us, now_us, TITLE, body, Priority.URGENT)
                    for one in person.channels[Priority.URGENT]
                ]
        return messages

    def answer(self, person: str, who: str, now_us: int) -> list[str]:
        """Take an answer; return whose test rings it answers, empty if none is awaited."""
        answered = [
            one for one in self._rings.values() if one.answered_us is None and person in ("", one.person)
        ]
        for one in answered:
            self._keep(one._replace(answered_us=now_us, who=who))
        return [one.person for one in answered]

    def drain(self) -> tuple[RingTest, ...]:
        """What has changed since this was called last."""
        changed, self._changed = tuple(self._changed), []
        return changed

    def _keep(self, ring: RingTest) -> None:
        self._rings[ring.person] = ring
        self._changed.append(ring)

    def _due_us(self, person: Person) -> int:
        """When a person is rung next: on the next day of the schedule, if then away or in the night later."""
        last = self._rings.get(person.name)
        after_us = self._start_us if last is None else last.rung_us
        if (due_us := self._due.get((person.name, after_us))) is None:
            at_us = self._next_us(after_us)
            while person.is_away(at_us, self._zone):
                at_us += 24 * HOUR_US
            due_us = person.night_ends_us(at_us, self._zone) or at_us
            self._due = {key: one for key, one in self._due.items() if key[0] != person.name}
            self._due[person.name, after_us] = due_us
        return due_us

    def _next_us(self, after_us: int) -> int:
        zone = ZoneInfo(self._zone)
        local = datetime.fromtimestamp(after_us // MICROSECONDS, UTC).astimezone(zone)
        hour, minute = divmod(self._at_minutes, 60)
        for days in range(40):
            day = local + timedelta(days=days)
            is_day = day.weekday() == _SATURDAY and (self._schedule == "weekly" or day.day <= 7)
            at = day.replace(hour=hour, minute=minute, second=0, microsecond=0, fold=0)
            if is_day and (at_us := round(at.timestamp()) * MICROSECONDS) > after_us:
                return at_us
        raise AssertionError("forty days hold a first Saturday")

    def _missed(self, ring: RingTest, people: Sequence[Person], now_us: int) -> list[NewMessage]:
        """Tell everybody, over whatever works: the person's own other channels, and the others."""
        title = f"Test ring not answered: {ring.person}"[:60]
        body = (
            "Nobody would have been woken. Look at the phone's app, its sound at night, and brinebell check."
        )
        return [
            NewMessage(None, "test_missed", person.name, one, now_us, now_us, title, body, Priority.HIGH)
            for person in people
            for one in dict.fromkeys(name for names in person.channels.values() for name in names)
        ]


def _is_awaited(ring: RingTest) -> bool:
    return ring.answered_us is None and ring.missed_us is None
