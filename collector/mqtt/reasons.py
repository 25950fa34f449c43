"""What the reason codes of MQTT mean to the person who reads the log, and how to mend it.

MQTT Version 5.0, OASIS Standard, 7 March 2019, section 2.4; brokers that speak 3.1.1 give the same few
refusals under other numbers, which the client library translates.
"""

from __future__ import annotations

UNSUPPORTED_PROTOCOL_VERSION = 0x84
SESSION_TAKEN_OVER = 0x8E

_MEANINGS = {
    0x80: ("the broker gives no reason", "look into the broker's own log"),
    0x81: ("the broker could not read what we sent", "look into the broker's own log; update the broker"),
    0x82: ("the broker says we broke the protocol", "look into the broker's own log; update the broker"),
    0x84: ("the broker does not speak this version of MQTT", "nothing to do: the older version is tried"),
    0x85: (
        "the broker does not take this client id",
        "choose a [mqtt] client_id of letters and digits",
    ),
    0x86: ("wrong user name or password", "set [mqtt] username and the password to what the broker expects"),
    0x87: ("not authorised", "set [mqtt] username and password; look at the broker's access list"),
    0x88: ("the broker is not available", "wait, or start the broker again"),
    0x89: ("the broker is busy", "wait; a broker that stays busy needs a faster machine or fewer clients"),
    0x8A: ("this client is banned", "take it off the broker's list of banned clients"),
    0x8B: ("the broker is shutting down", "start the broker again if it does not return by itself"),
    0x8D: ("nothing was heard from us for too long", "check the network between Brinebell and the broker"),
    0x8E: (
        "another client took over our session",
        "two services share one client id: give one of them another [mqtt] client_id",
    ),
    0x8F: ("the broker does not take this topic filter", "correct the topic of the [[source]] or [[board]]"),
    0x90: ("the broker does not take this topic", "allow the topics brinebell/service/# in the broker"),
    0x93: ("more messages than agreed were sent unacknowledged", "lower [mqtt] receive_maximum"),
    0x95: ("a message was too large for the other side", "raise the broker's limit of message size"),
    0x97: ("a quota of the broker is used up", "raise the broker's quota for this client"),
    0x98: ("someone ended the connection at the broker", "nothing, if that was meant"),
    0x9A: ("the broker keeps no retained messages", "allow retained messages in the broker"),
    0x9B: (
        "the broker does not support quality of service 1",
        "use one that does: messages would be lost",
    ),
    0x9E: (
        "the broker has no shared subscriptions",
        "use a plain filter: one service reads one stream",
    ),
    0x9F: ("too many connections in a short time", "wait; look for a client that connects again and again"),
    0xA2: ("the broker does not support wildcards", "write one [[source]] with a plain topic for each board"),
}


def explain(code: int) -> str:
    """Return what a reason code says and what to do about it, in one line of plain words."""
    meaning, mend = _MEANINGS.get(code, ("an unknown reason", "look into the broker's own log"))
    return f"{meaning} (reason code 0x{code:02X}); {mend}"
