"""The store: one SQLite file that holds every reading, alarm, incident and message.

One `Store` writes, one transaction a commit; `StoreReader` reads as numpy columns and frozen values;
`Outbox` is the delivery worker's side, `MirrorCursor` that of the time-series database's worker, `RequestBox`
that of who asks the service for something.
"""

from collector.messages import Message, NewMessage, Outcome, Try
from collector.store.backup import back_up, restore
from collector.store.care import Calibration
from collector.store.columns import Older, Readings
from collector.store.commit import (
    Arrival,
    BoardState,
    Commit,
    Committed,
    IncidentRecord,
    Rejection,
    Row,
)
from collector.store.conflicts import KEPT as CONFLICTS_KEPT
from collector.store.history import (
    Conflict,
    Delivery,
    HeatModelVersion,
    IncidentHistory,
    RejectedSource,
)
from collector.store.integrity import flaw_of
from collector.store.mirror_state import MirrorState, RefusedPoints
from collector.store.mirroring import (
    Batch,
    MirrorCursor,
    SeriesTags,
    unmirrored_from_us,
)
from collector.store.outbox import Outbox
from collector.store.reader import LatestReading, RecordedBlock, StoredSeries, StoreReader
from collector.store.requests import RequestBox
from collector.store.reserve import Reserve
from collector.store.reviews import BaselineVersion
from collector.store.rollups import (
    SLOT_US,
    Buckets,
    buckets_of_readings,
    quarter_hour_rows,
    series_buckets,
)
from collector.store.upkeep import Upkeep
from collector.store.writer import Store

__all__ = [
    "CONFLICTS_KEPT",
    "SLOT_US",
    "Arrival",
    "BaselineVersion",
    "Batch",
    "BoardState",
    "Buckets",
    "Calibration",
    "Commit",
    "Committed",
    "Conflict",
    "Delivery",
    "HeatModelVersion",
    "IncidentHistory",
    "IncidentRecord",
    "LatestReading",
    "Message",
    "MirrorCursor",
    "MirrorState",
    "NewMessage",
    "Older",
    "Outbox",
    "Outcome",
    "Readings",
    "RecordedBlock",
    "RefusedPoints",
    "RejectedSource",
    "Rejection",
    "RequestBox",
    "Reserve",
    "Row",
    "SeriesTags",
    "Store",
    "StoreReader",
    "StoredSeries",
    "Try",
    "Upkeep",
    "back_up",
    "buckets_of_readings",
    "flaw_of",
    "quarter_hour_rows",
    "restore",
    "series_buckets",
    "unmirrored_from_us",
]
