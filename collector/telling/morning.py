"""One message in the morning for everything that did not ring in a person's night."""

from __future__ import annotations

from collections.abc import Sequence

from collector.wording import BODY_WORDS, Message
from collector.wording.fitting import words
from rules import Priority

# What says that there is more: "And 12 more: look at the list of incidents."
_LEAST_ROOM = 9


def morning_message(lines: Sequence[tuple[Priority, str, bool]]) -> Message:
    """What waited: priority, first line and whether it is over, the most important first."""
    count = len(lines)
    over = sum(is_over for _, _, is_over in lines)
    what = "1 alarm" if count == 1 else f"{count} alarms"
    ends = "" if not over else ", over by now" if over == count else f", {over} over by now"
    title = f"Waited for the morning: {what}{ends}"
    said: list[str] = []
    used = 0
    for place, (priority, line, is_over) in enumerate(lines):
        text = f"{'Over' if is_over else str(priority).capitalize()}: {line}."
        left = count - place
        room = BODY_WORDS - used - (_LEAST_ROOM if left > 1 else 0)
        if words(text) > room:
            said.append(f"And {left} more: look at the list of incidents.")
            break
        said.append(text)
        used += words(text)
    return Message(title, " ".join(said))
