"""What is read of work that was to be over, where something is not back to normal."""

from __future__ import annotations

from collections.abc import Sequence

from collector.configuration import Configuration
from collector.wording import BODY_WORDS, TITLE_CHARACTERS, TITLE_WORDS, Message
from collector.wording.fitting import join_while_fitting, shorten, words
from collector.wording.texts import shown_name
from collector.wording.times import clock_text
from rules import AlarmKey, PlannedWork


def overrun_words(
    work: PlannedWork, alarms: Sequence[AlarmKey], configuration: Configuration, now_us: int
) -> Message:
    """Ask whether the work goes on, and say what rings, and when, if nobody answers."""
    tank = next(one for one in configuration.tanks if one.name == work.tank)
    end, settled = (
        clock_text(at_us, now_us, tank.rules.time_zone) for at_us in (work.to_us, work.settled_us)
    )
    kind = work.kind.replace("_", " ")
    before, after = f"Still at work? {kind.capitalize()} in ", f" was over at {end}"
    room = TITLE_CHARACTERS - len(before) - len(after)
    title = f"{before}{shorten(tank.title, room, TITLE_WORDS - words(before + after))}{after}"
    if len(configuration.tanks) == 1:
        title = f"Still at work? {kind.capitalize()} was over at {end}"
    where = f" --tank {work.tank}" if len(configuration.tanks) > 1 else ""
    names = list(dict.fromkeys(_named(one, configuration) for one in alarms))
    standing = tuple(
        f"Not back to normal: {', '.join(names[:count])}{_more(len(names) - count)}."
        for count in range(min(3, len(names)), 0, -1)
    )
    to_do = (
        f"It rings from {settled} on.",
        f'If you need longer: brinebell work begin {work.kind}{where} --for "30 min"',
    )
    return Message(title, join_while_fitting([], [standing], to_do, BODY_WORDS))


def _named(alarm: AlarmKey, configuration: Configuration) -> str:
    titles = (one.title for one in configuration.series if (one.tank, one.name) == (alarm.tank, alarm.series))
    series = next((title for title in titles if title), alarm.series.replace("_", " "))
    return f"{shown_name(alarm.cause)} ({shorten(series, 24, 3)})"


def _more(count: int) -> str:
    return f" and {count} more" if count else ""
