"""Which messages get a picture, and their sketches: what goes wrong here costs no more than the picture."""

from __future__ import annotations

import logging
from typing import Any

from collector.clock import Clock
from collector.configuration import Configuration
from collector.messages import Message
from collector.picture.gathering import Record, UsualSource, sketch_of

logger = logging.getLogger(__name__)

# Those by which somebody hears of an incident for the first time, or that it is worse.
KINDS = frozenset({"opened", "worsened", "next"})


class Pictures:
    """Gathers the sketches of messages; called on the threads of delivery.

    Parameters
    ----------
    record
        Readings and incidents.
    configuration
        Titles, units, limits.
    usual
        What is usual for each series now.
    clock
        Up to when a picture shows.
    """

    def __init__(
        self, record: Record, configuration: Configuration, usual: UsualSource, clock: Clock
    ) -> None:
        self._record, self._configuration = record, configuration
        self._usual, self._clock = usual, clock

    def __call__(self, message: Message) -> dict[str, Any] | None:
        """Return what `Sketch.to_data` returns, None for a message without a picture.

        A message that may have arrived already goes without: perhaps its picture was what killed its try.
        """
        if message.incident is None or message.kind not in KINDS or message.may_repeat:
            return None
        try:
            sketch = sketch_of(
                self._record, self._configuration, self._usual, message.incident, self._clock.now_us()
            )
        except Exception as error:  # noqa: BLE001 - whatever it is, the words must go out
            logger.warning("message %d goes without its picture: %r", message.id, error)
            return None
        return None if sketch is None else sketch.to_data()
