"""Signs that the loop of the service progresses, for those who would notice if it did not.

A service that hangs cannot say so. So the loop itself gives a sign at the end of its rounds, and no timer
beside it does: to systemd, which restarts the service; to the broker, where a sounder listens; and to an
address elsewhere, which notices too when the house has no current.
"""

from collector.liveness.sign import EVERY_S, SignOfLife
from collector.liveness.systemd import Systemd
from collector.liveness.web import WebSign

__all__ = ["EVERY_S", "SignOfLife", "Systemd", "WebSign"]
