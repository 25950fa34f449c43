"""The MQTT side of the service: a session that is kept whatever happens, and receipts for what it hands out.

Everything runs in the thread that calls `Session.receive`; only reaching a broker, which may block, has a
short-lived thread of its own.
"""

from collector.mqtt.connection import Message
from collector.mqtt.protocol import Protocol
from collector.mqtt.received import CaughtUp, Connected, Disconnected, Receipt, Received
from collector.mqtt.session import Session

__all__ = ["CaughtUp", "Connected", "Disconnected", "Message", "Protocol", "Receipt", "Received", "Session"]
