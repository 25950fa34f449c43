"""Property topics of the Homie convention, versions 4 and 5: one value per topic, as text.

Only values are read here; $state tells whether a board is there, which is not a reading.
"""

from __future__ import annotations

from collector.configuration import SourceConfiguration
from collector.errors import PayloadError
from collector.payloads.decoder import Decoded
from collector.payloads.names import Names
from collector.payloads.number import plain_value
from collector.payloads.shown import shown
from collector.readings import Observation

_NOTHING = Decoded(())


class HomieDecoder:
    """Reads homie/device/node/property (version 4) and homie/5/device/node/property (version 5).

    A source may want a property by its path device/node/property or by the end of it.
    """

    def __init__(self, source: SourceConfiguration) -> None:
        self._names = Names(source.values, takes_any=source.series is not None)

    def decode(self, topic: str, payload: bytes, received_us: int) -> Decoded:  # noqa: ARG002
        """Return the property's value; nothing for attributes, commands and removals; see `Decoder`."""
        levels = topic.split("/")
        # Attributes begin with $, in both versions; .../property/set is a command to the board. A property
        # that is removed leaves an empty payload; an empty text would be one zero byte (version 5).
        if any(level.startswith("$") for level in levels) or levels[-1] == "set" or not payload:
            return _NOTHING
        if len(levels) < 4:
            raise PayloadError(
                f"{shown(topic)} is no property of Homie: homie/device/node/property or "
                "homie/5/device/node/property is needed"
            )
        name = self._names.find("/".join(levels[-3:]))
        return _NOTHING if name is None else Decoded((Observation(name, plain_value(payload)),))
