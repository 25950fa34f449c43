"""The store: one SQLite file that holds every reading, alarm, incident and message.

One `Store` writes, one transaction a commit; `StoreReader` reads as numpy columns and frozen values;
`Outbox` is the delivery worker's side, `RequestBox` that of who asks the service for something.
"""

from collector.messages import Message, NewMessage, Outcome, Try
from collector.store.commit import (
    Arrival,
    BoardState,
    Commit,
    Committed,
    IncidentRecord,
    Rejection,
    Row,
)
from collector.store.history import (
    Conflict,
    Delivery,
    HeatModelVersion,
    IncidentHistory,
    RejectedSource,
)
from collector.store.outbox import Outbox
from collector.store.reader import LatestReading, Readings, RecordedBlock, StoredSeries, StoreReader
from collector.store.requests import RequestBox
from collector.store.reviews import BaselineVersion
from collector.store.rollups import (
    SLOT_US,
    Buckets,
    buckets_of_readings,
    quarter_hour_rows,
    series_buckets,
)
from collector.store.writer import Store

__all__ = [
    "SLOT_US",
    "Arrival",
    "BaselineVersion",
    "BoardState",
    "Buckets",
    "Commit",
    "Committed",
    "Conflict",
    "Delivery",
    "HeatModelVersion",
    "IncidentHistory",
    "IncidentRecord",
    "LatestReading",
    "Message",
    "NewMessage",
    "Outbox",
    "Outcome",
    "Readings",
    "RecordedBlock",
    "RejectedSource",
    "Rejection",
    "RequestBox",
    "Row",
    "Store",
    "StoreReader",
    "StoredSeries",
    "Try",
    "buckets_of_readings",
    "quarter_hour_rows",
    "series_buckets",
]
