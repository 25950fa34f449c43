"""Delivery: who is told what over which channel, and the sending of it until it has arrived.

The service plans messages into the commit that carries the incident, and wires a `DeliveryWorker` to
the store's outbox. Nothing here opens a database, and nothing here imports apprise into the service.
"""

from collector.delivery.channels import Sent, channel_names
from collector.delivery.outbox import Outbox
from collector.delivery.plan import plan_notifications
from collector.delivery.ring import ChannelResult, send_test
from collector.delivery.worker import DeliveryWorker

__all__ = [
    "ChannelResult",
    "DeliveryWorker",
    "Outbox",
    "Sent",
    "channel_names",
    "plan_notifications",
    "send_test",
]
