"""A channel that fails is told over another: of the same person if there is one, else to the next person."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from collector.delivery import REPORT, ChannelFailure
from collector.messages import NewMessage
from collector.telling import Person, present
from collector.wording import BODY_WORDS, TITLE_CHARACTERS, TITLE_WORDS
from collector.wording.fitting import shorten, words
from collector.wording.times import clock_text
from rules import Priority

# It must be mended, but nobody is woken for it: what was to go there goes elsewhere.
_PRIORITY = Priority.HIGH


class ChannelReports:
    """Words the report of a failure, for whoever can hear it.

    Parameters
    ----------
    people
        Those who can be told.
    zone
        The time zone of their nights.
    """

    def __init__(self, people: Sequence[Person], zone: str) -> None:
        self._people, self._zone = tuple(people), zone

    def __call__(
        self, failure: ChannelFailure, failing: Collection[tuple[str, str]], now_us: int
    ) -> NewMessage | None:
        """The report over a channel that does not fail; None where there is none."""
        there = present(self._people, now_us, self._zone)
        own = [one for one in self._people if one.name == failure.person]
        for person in (*own, *(one for one in there if one.name != failure.person)):
            channels = dict.fromkeys(name for names in _by_use(person) for name in names)
            channel = next((one for one in channels if (person.name, one) not in failing), None)
            if channel is not None:
                return NewMessage(
                    None,
                    REPORT,
                    person.name,
                    channel,
                    now_us,
                    person.told_from_us(_PRIORITY, now_us, self._zone),
                    self._title(failure),
                    self._body(failure, now_us),
                    _PRIORITY,
                )
        return None

    def _title(self, failure: ChannelFailure) -> str:
        before, after = "Messages do not reach ", f" over {failure.channel}"
        room = TITLE_CHARACTERS - len(before) - len(after)
        return f"{before}{shorten(failure.person, room, TITLE_WORDS - words(before + after))}{after}"

    def _body(self, failure: ChannelFailure, now_us: int) -> str:
        since = f"Since {clock_text(failure.since_us, now_us, self._zone)}:"
        where = f"They go over {failure.instead} instead." if failure.instead else "They are tried again."
        mend = "Mend it, then try: brinebell check --ring"
        room = BODY_WORDS - sum(map(words, (since, where, mend)))
        reason = shorten(failure.reason or "no reason was given", 200, room).rstrip(".")
        return f"{since} {reason}. {where} {mend}"


def _by_use(person: Person) -> list[tuple[str, ...]]:
    """The person's channels, those of the report's own priority first."""
    return [person.channels[_PRIORITY], *person.channels.values()]
