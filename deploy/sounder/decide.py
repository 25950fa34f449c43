"""What a sounder does, decided from what it hears: plain Python, for MicroPython as for any other.

It sounds when told to, and chirps when the service gives no sign of life any more. The broker keeps the last
sign for who comes later, so only one that differs from the last says that the service lives.
"""

import json

QUIET = "quiet"
SOUND = "sound"
CHIRP = "chirp"

# Seconds between two signs of life while the service has not said it.
EVERY_S = 60
# So many signs may be missed: one is a busy moment, three are an outage.
SIGNS = 3


class Sounder:
    """Hears messages and says what to do; `now_s` are seconds that only grow."""

    def __init__(self, now_s):
        self.word = QUIET
        self.sign = None
        self.every_s = EVERY_S
        self.heard_s = now_s

    def hear(self, topic, payload, now_s):
        """Take a message; topic and payload are bytes."""
        if topic.endswith(b"/sounder"):
            self.word = SOUND if payload == b"sound" else QUIET
        elif topic.endswith(b"/sign_of_life"):
            if payload != self.sign and self.sign is not None:
                self.heard_s = now_s
            self.sign = payload
            try:
                self.every_s = max(1, int(json.loads(payload.decode())["every_s"]))
            except (ValueError, KeyError, TypeError):
                self.every_s = EVERY_S

    def what(self, now_s):
        """SOUND, CHIRP or QUIET."""
        if self.word == SOUND:
            return SOUND
        if now_s - self.heard_s > SIGNS * self.every_s:
            return CHIRP
        return QUIET
