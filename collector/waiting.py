"""A service that cannot open its store, as on a full disk, waits until it can, and tells people meanwhile.

What it would judge stays at the broker, which keeps it as for any service that is away; no alarm rings, no
page stands, and the sign of life over MQTT is missing. That is said, and it is over as soon as there is room.
"""

from __future__ import annotations

import logging
import shutil
import threading
from pathlib import Path

from collector.clock import Clock
from collector.configuration import Configuration
from collector.delivery import DeliveryWorker, channel_names
from collector.errors import DiskError
from collector.intake import UnstoredMessages
from collector.liveness import Systemd
from collector.notices import STORE_NOTE, Notices, StoreRefuses
from collector.signals import called_by_signals
from collector.store import Store
from collector.telling import people_of

_LOG = logging.getLogger(__name__)

# How often it is looked for room, and how much a start and some hours of readings want.
_PAUSE_S = 5.0
_FREE_BYTES = 1 << 20


def wait_for_room(
    configuration: Configuration, clock: Clock, error: DiskError, *, pause_s: float = _PAUSE_S
) -> bool:
    """Return True when the store can be opened and written, False when told to stop by SIGTERM or SIGINT.

    After two minutes of it people are told, and that they were is noted in the store at the end, so that
    the service tells the end.
    """
    _LOG.error(
        "%s. The service cannot start: nothing is watched and no alarm rings. It waits until there is room "
        "on the disk, or the disk is mended",
        error,
    )
    path, begun_us, stopped = configuration.store.path, clock.now_us(), threading.Event()
    zone, people = configuration.tanks[0].rules.time_zone, people_of(configuration, channel_names)
    refusing = StoreRefuses(None, zone, lambda: begun_us, is_watched=False)
    notices, outbox, systemd = Notices([refusing], people, zone), UnstoredMessages(), Systemd()
    note = ""
    # It lives, and a restart would help nobody.
    systemd.ready()
    with called_by_signals(stopped.set), DeliveryWorker(configuration, outbox, clock=clock) as delivery:
        while not stopped.wait(pause_s):
            systemd.turn()
            if _can_write(path, note):
                _LOG.warning("the disk takes the store again, and the service starts")
                return True
            if notices.turn(clock.now_us(), is_connected=False, is_catching_up=False):
                noticed = notices.drain()
                note = noticed.notes[STORE_NOTE]
                outbox.add(noticed.messages)
                delivery.wake()
    return False


def _can_write(path: Path, note: str) -> bool:
    """Open the store and write into it whether people were told."""
    try:
        if shutil.disk_usage(_standing(path)).free < _FREE_BYTES:
            return False
        with Store(path) as store:
            store.set_note(STORE_NOTE, note)
    except (DiskError, OSError):
        return False
    return True


def _standing(path: Path) -> Path:
    return next(folder for folder in path.parents if folder.is_dir())
