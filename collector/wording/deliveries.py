"""What became of messages, in words: to whom, over which channel, and each try."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from types import MappingProxyType

from collector.messages import Message, Try
from collector.wording.times import moment_text

# Where a message stands.
STATES: Mapping[str, str] = MappingProxyType(
    {
        "waiting": "waiting",
        "done": "delivered",
        "given_up": "given up",
        "moved": "gone on over another channel",
        "withdrawn": "needed no more",
    }
)


def delivery_lines(message: Message, state: str, tries: Sequence[Try], zone: str) -> Iterator[str]:
    """A line for a message, and one for each try."""
    stands = STATES.get(state, state)
    yield (
        f"  {moment_text(message.created_us, zone)}  {message.person} over {message.channel}"
        f" ({message.kind}): {stands}"
    )
    for one in tries:
        reason = f", {one.reason}" if one.reason else ""
        yield f"    tried {moment_text(one.started_us, zone)}: {one.outcome or 'running'}{reason}"
