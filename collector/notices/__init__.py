"""What the service tells beside incidents: that it was away, that its broker is, that work lasts too long.

Such a notice belongs to no incident. It goes into the outbox with the note that it was told, in one commit,
so that a kill neither loses nor repeats it.
"""

from collector.notices.broker_away import NOTE as BROKER_NOTE
from collector.notices.broker_away import BrokerAway
from collector.notices.channel_fails import ChannelReports
from collector.notices.mirror_behind import AWAY_NOTE as DATABASE_AWAY_NOTE
from collector.notices.mirror_behind import REFUSED_NOTE as DATABASE_REFUSES_NOTE
from collector.notices.mirror_behind import MirrorBehind
from collector.notices.missed import Missed, missed
from collector.notices.notice import Noticed, Notices
from collector.notices.outage import NOTE as OUTAGE_NOTE
from collector.notices.outage import Outage
from collector.notices.store_refuses import NOTE as STORE_NOTE
from collector.notices.store_refuses import StoreRefuses
from collector.notices.wired import Watched, notices_of
from collector.notices.work_over import NOTE as WORK_NOTE
from collector.notices.work_over import WorkOver

__all__ = [
    "BROKER_NOTE",
    "DATABASE_AWAY_NOTE",
    "DATABASE_REFUSES_NOTE",
    "OUTAGE_NOTE",
    "STORE_NOTE",
    "WORK_NOTE",
    "BrokerAway",
    "ChannelReports",
    "MirrorBehind",
    "Missed",
    "Noticed",
    "Notices",
    "Outage",
    "StoreRefuses",
    "Watched",
    "WorkOver",
    "missed",
    "notices_of",
]
