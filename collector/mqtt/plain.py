"""A plain client of a broker, for what publishes beside the service: simulated boards, and a rehearsal."""

from __future__ import annotations

import threading
from collections.abc import Callable

from paho.mqtt.client import Client, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion

from collector.errors import BrokerError

_TIMEOUT_S = 10.0


def plain_client(client_id: str) -> Client:
    """A client that is not connected yet; it speaks MQTT 3.1.1, as most boards do and every broker does."""
    return Client(CallbackAPIVersion.VERSION2, client_id=client_id, protocol=MQTTv311)


def connect_plainly(
    client: Client, host: str, port: int, who: str, greet: Callable[[Client], object]
) -> None:
    """Connect, and again whenever the connection is lost; `greet` is called each time, in paho's thread.

    Parameters
    ----------
    who
        As whom errors name it: "the rehearsal".

    Raises
    ------
    BrokerError
        If the broker is not reached, or does not take the connection in time.
    """
    is_connected = threading.Event()

    def on_connect(client: Client, _data: object, _flags: object, code: object, _properties: object) -> None:
        if not getattr(code, "is_failure", True):
            greet(client)
            is_connected.set()

    client.on_connect = on_connect
    where = f"{host}:{port}"
    try:
        client.connect(host, port)
    except OSError as error:
        raise BrokerError(f"{who} reaches no broker at {where}: {error}") from error
    client.loop_start()
    if not is_connected.wait(_TIMEOUT_S):
        client.loop_stop()
        raise BrokerError(f"the broker at {where} did not let {who} in: look at its user name")
