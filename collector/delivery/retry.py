"""When a message is tried again, when it is given up, and what a late one says of itself."""

from __future__ import annotations

from types import MappingProxyType

from collector.messages import Message
from rules import HOUR_US, Priority

_MINUTE_US = HOUR_US // 60

# A router that restarts or a server that is busy is back within seconds: shorter hammers it, longer
# lets a person sleep on.
FIRST_RETRY_US = 15_000_000
# Five minutes of tank time are nothing to a heater, and slower than what services refuse as a flood.
# What does not wake anybody may wait an hour.
LONGEST_RETRY_US = MappingProxyType(
    {Priority.URGENT: 5 * _MINUTE_US, Priority.HIGH: 15 * _MINUTE_US, Priority.LOW: 60 * _MINUTE_US}
)
# By age, not by count: what matters is whether the words still help. An urgent message is never given
# up, for then nobody would have been told at all; a keeper back from a week without network still
# wants the high ones, and yesterday's low ones stand in the list of incidents anyway.
GIVEN_UP_AFTER_US = MappingProxyType(
    {Priority.URGENT: None, Priority.HIGH: 7 * 24 * HOUR_US, Priority.LOW: 24 * HOUR_US}
)
# A message that comes this late says so: "danger about 04:10" reads differently then.
LATE_AFTER_US = 30 * _MINUTE_US

REPEATED = "Possibly repeated."


def retry_at_us(message: Message, now_us: int) -> int:
    """When to try again after a try that began when `message.tries` others had been made."""
    # 2**20 first retries are half a year: beyond it only the cap counts.
    delay_us: int = FIRST_RETRY_US * 2 ** min(message.tries, 20)
    return now_us + min(delay_us, LONGEST_RETRY_US[message.priority])


def due_us(message: Message, now_us: int) -> int:
    """When a message may be sent; at once if its retry lies farther off than any retry does.

    Then the clock was set back: a Raspberry Pi has none that runs while it is off.
    """
    was_set_back = message.tries > 0 and message.not_before_us > now_us + LONGEST_RETRY_US[message.priority]
    return now_us if was_set_back else message.not_before_us


def is_given_up(message: Message, now_us: int) -> bool:
    """Whether a message is too old to be of help."""
    limit_us = GIVEN_UP_AFTER_US[message.priority]
    return limit_us is not None and now_us - message.created_us > limit_us


def outgoing_body(message: Message, now_us: int) -> str:
    """The body as it is sent: with a word if it may have come before, or comes late."""
    notes = []
    if message.may_repeat:
        notes.append(REPEATED)
    late_us = now_us - message.created_us
    if late_us >= LATE_AFTER_US:
        notes.append(f"{_age(late_us)} old.")
    return " ".join([message.body, *notes])


def _age(age_us: int) -> str:
    if age_us < 2 * HOUR_US:
        return f"{age_us // _MINUTE_US} min"
    if age_us < 48 * HOUR_US:
        return f"{age_us // HOUR_US} h"
    return f"{age_us // (24 * HOUR_US)} days"
