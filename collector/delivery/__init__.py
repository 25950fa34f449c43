"""Delivery: the sending of what is told until it has arrived.

`collector.telling` puts messages into the commit that carries the incident; the service wires a
`DeliveryWorker` to the store's outbox. Nothing here opens a database, and nothing here imports apprise
into the service.
"""

from collector.delivery.detour import REPORT, ChannelFailure
from collector.delivery.outbox import Outbox
from collector.delivery.ring import ChannelResult, send_test
from collector.delivery.worker import DeliveryWorker
from collector.sending.channels import Sent, channel_names

__all__ = [
    "REPORT",
    "ChannelFailure",
    "ChannelResult",
    "DeliveryWorker",
    "Outbox",
    "Sent",
    "channel_names",
    "send_test",
]
