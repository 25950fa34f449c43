"""What the service tells of itself: that it was away, and that its broker is.

Such a notice belongs to no incident. It goes into the outbox with the note that it was told, in one commit,
so that a kill neither loses nor repeats it.
"""

from collector.notices.broker_away import NOTE as BROKER_NOTE
from collector.notices.broker_away import BrokerAway
from collector.notices.missed import Missed, missed
from collector.notices.notice import Noticed, Notices
from collector.notices.outage import NOTE as OUTAGE_NOTE
from collector.notices.outage import Outage

__all__ = [
    "BROKER_NOTE",
    "OUTAGE_NOTE",
    "BrokerAway",
    "Missed",
    "Noticed",
    "Notices",
    "Outage",
    "missed",
]
