"""What a board makes of its measurements: plain Python, for MicroPython as for any other.

Values go out as SenML (RFC 8428) in its base units. Calibration of pH, and the temperature of its electrode,
are left to Brinebell, so that a new calibration needs no new program on the board.
"""

import json

# What the sensor says before it has measured, and its library when it does not answer (both from memory).
POWER_ON_CELSIUS = 85.0
ABSENT_CELSIUS = -127.0
# Unix time before which a clock has not been set.
SET_S = 1767225600


def line(first, second):
    """Return what turns volts into a value, by two points of (volts, value)."""
    (x1, y1), (x2, y2) = first, second
    slope = (y2 - y1) / (x2 - x1)
    return lambda volts: y1 + slope * (volts - x1)


def median(values):
    """The middle one of an odd number of values: one that jumps does not count."""
    return sorted(values)[len(values) // 2]


def believable(celsius):
    """A temperature, or None for what is none."""
    if celsius is None or celsius in (POWER_ON_CELSIUS, ABSENT_CELSIUS) or not -40 < celsius < 80:
        return None
    return celsius


def pack(board, readings, at_s=0):
    """Return a SenML pack of (name, unit, value, digits), without what is None and a time before SET_S."""
    records = []
    for name, unit, value, digits in readings:
        if value is not None:
            records.append({"n": name, "u": unit, "v": round(value, digits)})
    if not records:
        return None
    records[0]["bn"] = board + "/"
    if at_s >= SET_S:
        records[0]["bt"] = at_s
    return json.dumps(records)


class Outbox:
    """Keeps what could not be sent, the newest `most` packs.

    One without a time would be told as of now, so of these only the newest is kept.
    """

    def __init__(self, most):
        self.most = most
        self.waiting = []

    def put(self, text):
        """Add a pack."""
        self.waiting = [one for one in self.waiting if '"bt"' in one][-self.most + 1 :]
        self.waiting.append(text)

    def first(self):
        """The oldest pack, or None."""
        return self.waiting[0] if self.waiting else None

    def sent(self):
        """The oldest pack has been acknowledged."""
        self.waiting.pop(0)
