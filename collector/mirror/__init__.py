"""The mirror: a time-series database that follows the store, which stays the journal."""

from collector.mirror.pace import Pace
from collector.mirror.sending import send
from collector.mirror.start import start_mirror
from collector.mirror.worker import MirrorHealth, MirrorWorker

__all__ = ["MirrorHealth", "MirrorWorker", "Pace", "send", "start_mirror"]
