"""One connection to a broker, from reaching it to losing it: the only module that has heard of paho.

A connection is never used twice. What arrived on it can only be acknowledged on it, so that an
acknowledgement can never go to a session in which its packet id means another message.
"""

from __future__ import annotations

import socket
import ssl
from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from collector.configuration import MqttConfiguration
from collector.errors import ConfigError
from collector.mqtt.protocol import Protocol

# Retained messages only with a subscription that the session does not have yet (MQTT 5, 3.8.3.1).
_NEW_SUBSCRIPTIONS_ONLY = 1
# Reason codes from here on say that something failed (MQTT 5, 2.4).
_REFUSED = 0x80
# A payload in a topic that is no UTF-8 is kept with its rejection under this name.
_UNREADABLE_TOPIC = "(topic is not UTF-8)"


class Message(NamedTuple):
    """A message as it arrived; `packet_id` is 0 for quality of service 0, which is not acknowledged."""

    topic: str
    payload: bytes
    packet_id: int
    is_retained: bool
    is_redelivered: bool
    received_us: int


class Answer(NamedTuple):
    """What the broker answered to our wish to connect; `reason` 0 is yes."""

    reason: int
    session_present: bool
    session_expiry_s: int | None


class Topics(NamedTuple):
    """The service's own topics; what arrives under `tree` is not for the tank."""

    tree: str
    status: str
    marker: str

    @classmethod
    def of(cls, client_id: str) -> Topics:
        """Topics of the service with that client id."""
        own = f"brinebell/service/{client_id}"
        return cls("brinebell/service/", f"{own}/status", f"{own}/marker")

    def named(self, name: str) -> str:
        """The topic of another name, for what the service says of itself."""
        return f"{self.status.rpartition('/')[0]}/{name}"


class Connection:
    """One connection: reads into `messages`, and says what the broker said in the fields below.

    Parameters
    ----------
    configuration
        Where the broker is and how to log in.
    protocol
        The version of MQTT to speak.
    now_us
        Tank time, microseconds since 1970 UTC: it stamps each message on its arrival.

    Attributes
    ----------
    answer, lost, grants, marker, denied, denied_state
        None until the broker has answered, the connection has been lost (with the reason code, 0 where
        there was none), the subscriptions have been answered (a code each), a marker has come back (its
        payload and how many messages had arrived before it), and the broker has refused what we published
        to topics of our own, or a state for others (the reason code; MQTT 3.1.1 has no way to say so).
    """

    def __init__(
        self, configuration: MqttConfiguration, protocol: Protocol, now_us: Callable[[], int]
    ) -> None:
        self.protocol = protocol
        self.answer: Answer | None = None
        self.lost: int | None = None
        self.grants: Sequence[int] | None = None
        self.marker: tuple[bytes, int] | None = None
        self.denied: int | None = None
        self.denied_state: int | None = None
        self.messages: list[Message] = []
        self._configuration = configuration
        self._topics = Topics.of(configuration.client_id)
        self._now_us = now_us
        self._unacknowledged: list[int] = []
        self._acknowledged = 0
        # Packet ids of states that the broker has not answered.
        self._states: set[int] = set()
        self._client = self._make_client()

    # -- from reaching the broker to losing it -----------------------------------------------------

    def open(self) -> None:
        """Reach the broker and ask to be let in; blocks until reached, the answer comes by `read`.

        Raises
        ------
        OSError, ValueError
            If the broker cannot be reached, or its certificate is not trusted.
        """
        wanted: dict[str, Any] = {}
        if self.protocol is Protocol.V5:
            properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
            properties.SessionExpiryInterval = self._configuration.session_expiry_s
            properties.ReceiveMaximum = self._configuration.receive_maximum
            # paho's own default throws the session away at each start.
            wanted = {"clean_start": False, "properties": properties}
        self._client.connect(
            self._configuration.host, self._configuration.port, self._configuration.keep_alive_s, **wanted
        )

    def fileno(self) -> int:
        """The socket's descriptor, -1 when there is none."""
        opened = self._client.socket()
        return -1 if opened is None else opened.fileno()

    def read(self, limit: int) -> bool:
        """Read what has arrived, without waiting; return whether `limit` messages cut it short.

        Anything that is no message for the tank also ends it, so that its place among them is known.
        """
        messages = self.messages
        loop_read = self._client.loop_read
        while len(messages) < limit:
            before = len(messages)
            loop_read()
            if len(messages) == before and not self._is_decrypted():
                return False
        return True

    @property
    def wants_write(self) -> bool:
        """Whether something waits to be written."""
        return self._client.want_write()

    def write(self) -> None:
        """Write what waits, as far as the network takes it."""
        self._client.loop_write()

    def keep_alive(self) -> None:
        """Ping the broker when it is time, and notice when it does not answer."""
        self._client.loop_misc()

    def abandon(self) -> None:
        """Close without a farewell: the broker keeps the session and publishes our last will."""
        opened = self._client.socket()
        if opened is not None:
            opened.close()

    def say_goodbye(self) -> None:
        """Ask for a clean end, which comes with the next `write`; the session stays."""
        self._client.disconnect()

    # -- messages ----------------------------------------------------------------------------------

    @property
    def unacknowledged(self) -> int:
        """How many messages the broker still keeps for us as not acknowledged."""
        return len(self._unacknowledged)

    @property
    def arrived(self) -> int:
        """How many messages that want an acknowledgement have arrived on this connection."""
        return self._acknowledged + len(self._unacknowledged)

    def acknowledge(self, count: int) -> None:
        """Acknowledge the first `count` messages that arrived on this connection, in their order."""
        due = self._unacknowledged[: count - self._acknowledged]
        for packet_id in due:
            self._client.ack(packet_id, 1)
        del self._unacknowledged[: len(due)]
        self._acknowledged += len(due)

    def subscribe(self, filters: Sequence[str]) -> None:
        """Subscribe to topic filters with quality of service 1; the answer is in `grants`."""
        self.grants = None
        if self.protocol is Protocol.V5:
            options = SubscribeOptions(qos=1, retainHandling=_NEW_SUBSCRIPTIONS_ONLY)
            self._client.subscribe([(one, options) for one in filters])
        else:
            self._client.subscribe([(one, 1) for one in filters])

    def unsubscribe(self, filters: Sequence[str]) -> None:
        """Give up topic filters that the session still has."""
        self._client.unsubscribe(list(filters))

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> None:
        """Publish with quality of service 1."""
        self._client.publish(topic, payload, qos=1, retain=retain)

    def publish_state(self, topic: str, payload: bytes) -> None:
        """Publish a state for others, retained; an empty payload takes away what is retained."""
        self._states.add(self._client.publish(topic, payload, qos=1, retain=True).mid)

    # -- what paho tells ---------------------------------------------------------------------------

    def _make_client(self) -> Client:
        settings = self._configuration
        version = MQTTProtocolVersion.MQTTv5 if self.protocol is Protocol.V5 else MQTTProtocolVersion.MQTTv311
        client = Client(
            CallbackAPIVersion.VERSION2,
            settings.client_id,
            clean_session=None if self.protocol is Protocol.V5 else False,
            protocol=version,
            reconnect_on_failure=False,
            manual_ack=True,
        )
        if settings.username is not None:
            client.username_pw_set(settings.username, settings.password)
        if settings.tls:
            try:
                client.tls_set(ca_certs=None if settings.ca_file is None else str(settings.ca_file))
            except (OSError, ssl.SSLError) as error:
                raise ConfigError(
                    f"[mqtt] ca_file {settings.ca_file} cannot be used: {error}; "
                    "give the certificate of the authority that signed the broker's"
                ) from error
        client.will_set(self._topics.status, b"offline", qos=1, retain=True)
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = self._on_subscribe
        client.on_publish = self._on_publish
        client.on_message = self._on_message
        client.on_socket_open = _send_at_once
        # With this set, paho leaves writing to us, and a batch of acknowledgements is one round.
        client.on_socket_register_write = _write_later
        return client

    def _is_decrypted(self) -> bool:
        """Whether bytes lie ready that the operating system knows nothing of (TLS)."""
        opened = self._client.socket()
        return isinstance(opened, ssl.SSLSocket) and opened.pending() > 0

    def _on_connect(
        self,
        _client: Client,
        _userdata: object,
        flags: ConnectFlags,
        reason: ReasonCode,
        properties: Properties | None,
    ) -> None:
        expiry = None if properties is None else getattr(properties, "SessionExpiryInterval", None)
        self.answer = Answer(reason.value, flags.session_present, expiry)

    def _on_disconnect(
        self,
        _client: Client,
        _userdata: object,
        flags: DisconnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        self.lost = reason.value if flags.is_disconnect_packet_from_server else 0

    def _on_subscribe(
        self,
        _client: Client,
        _userdata: object,
        _packet_id: int,
        reasons: list[ReasonCode],
        _properties: Properties | None,
    ) -> None:
        self.grants = [reason.value for reason in reasons]

    def _on_publish(
        self,
        _client: Client,
        _userdata: object,
        packet_id: int,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        is_state = packet_id in self._states
        self._states.discard(packet_id)
        if reason.value < _REFUSED:
            return
        if is_state:
            self.denied_state = reason.value
        else:
            self.denied = reason.value

    def _on_message(self, _client: Client, _userdata: object, message: MQTTMessage) -> None:
        packet_id = message.mid
        if packet_id:
            self._unacknowledged.append(packet_id)
        try:
            topic = message.topic
        except UnicodeDecodeError:
            topic = _UNREADABLE_TOPIC
        if topic.startswith(self._topics.tree):
            if topic == self._topics.marker:
                self.marker = (bytes(message.payload), len(self.messages))
            return
        self.messages.append(
            Message(topic, message.payload, packet_id, message.retain, message.dup, self._now_us())  # type: ignore[arg-type]
        )


def _send_at_once(_client: Client, _userdata: object, opened: Any) -> None:
    """Let acknowledgements leave one by one: a broker with a small window waits for each of them."""
    opened.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)


def _write_later(_client: Client, _userdata: object, _socket: object) -> None:
    """Take note of nothing: `Connection.wants_write` is asked before each wait."""
