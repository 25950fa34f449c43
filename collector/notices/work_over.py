"""Work that lasts longer than it was announced for is told, before what it keeps off rings.

Nobody can see whether hands are still in the water. But what planned work suppressed by design and is not
back to normal halfway through the settle time will most likely ring at the end of it: a pump that was
forgotten, or a keeper who is still at it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

import orjson

from collector.configuration import Configuration
from collector.notices.notice import Notice, Turn
from collector.wording.overrun import overrun_words
from rules import HOUR_US, PlannedWork, Priority, Suppressed

NOTE = "overrun work told"
# A fault is looked for every five minutes and seen a little later, a probe may publish once a minute.
_FRESH_US = HOUR_US // 6


class WorkOver:
    """Looks once, halfway through the settle time of each work, for what is not back to normal.

    Parameters
    ----------
    note
        What is noted under `NOTE`: works that have been looked at.
    configuration
        Words and zones.
    works, suppressed
        Those that are known now.
    """

    def __init__(
        self,
        note: str | None,
        configuration: Configuration,
        works: Callable[[], Iterable[PlannedWork]],
        suppressed: Callable[[], Iterable[Suppressed]],
    ) -> None:
        self._configuration, self._works, self._suppressed = configuration, works, suppressed
        self._told = {PlannedWork(*one) for one in orjson.loads(note)} if note else set()

    def turn(self, now_us: int, *, is_connected: bool, is_catching_up: bool) -> Turn | None:  # noqa: ARG002
        """Tell of one work that is over and has left something off; None if there is none."""
        if is_catching_up:
            return None
        for work in self._works():
            if work in self._told or not _half_settled_us(work) <= now_us < work.settled_us:
                continue
            standing = [one for one in self._suppressed() if _stands(one, work, now_us)]
            if not standing:
                continue
            self._told = {one for one in self._told if one.settled_us > now_us} | {work}
            return Turn(self._notice(work, standing, now_us), {NOTE: _note(self._told)})
        return None

    def _notice(self, work: PlannedWork, standing: Sequence[Suppressed], now_us: int) -> Notice:
        words = overrun_words(work, [one.alarm for one in standing], self._configuration, now_us)
        # Whoever sleeps is not at work, and what is wrong rings by itself.
        return Notice("work_over", words.title, words.body, Priority.LOW, waits=False)


def _half_settled_us(work: PlannedWork) -> int:
    return (work.to_us + work.settled_us) // 2


def _stands(one: Suppressed, work: PlannedWork, now_us: int) -> bool:
    if one.alarm.tank != work.tank or one.last_us < work.to_us or one.last_us <= now_us - _FRESH_US:
        return False
    return one.first_us >= work.from_us


def _note(works: Iterable[PlannedWork]) -> str:
    return orjson.dumps([[one.tank, one.kind, one.from_us, one.to_us] for one in sorted(works)]).decode()
