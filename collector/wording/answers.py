"""How the telling of an incident stands, in one line, in the words of ISA-18.2."""

from __future__ import annotations

from collector.alarm_record import ThreadRecord
from collector.wording.times import clock_text
from rules import AlarmState


def state_text(answer: ThreadRecord | None, *, is_over: bool, now_us: int, zone: str) -> str:
    """The state of an incident: "acknowledged by sam at 02:10", "shelved by sam until 03:10".

    Parameters
    ----------
    answer
        As recorded; None where a version that took no answers told of it.
    is_over
        Whether all alarms have returned to normal.
    """
    if answer is None:
        known = AlarmState.RETURNED_UNACKNOWLEDGED if is_over else AlarmState.UNACKNOWLEDGED
        return known.value
    by = f" by {answer.who}" if answer.who else ""
    if answer.until_us is not None and not is_over:
        return f"{answer.state}{by} until {clock_text(answer.until_us, now_us, zone)}"
    if answer.at_us is None or (is_over and answer.state != AlarmState.NORMAL.value):
        return answer.state
    at = f" at {clock_text(answer.at_us, now_us, zone)}"
    seen = ", acknowledged" if answer.state == AlarmState.NORMAL.value else ""
    return f"{answer.state}{seen}{by}{at}"
