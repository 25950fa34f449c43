"""A session with a broker that is kept whatever happens, over one connection after another.

It connects again with growing pauses, finds the version of MQTT that the broker speaks, subscribes, and
tells what lay waiting at the broker (backlog) from what is live: a marker, published to a topic of the
service's own once the subscriptions stand, comes back behind the backlog.
"""

from __future__ import annotations

import logging
import math
import random
import select
import socket
import time
from collections.abc import Callable, Sequence
from contextlib import suppress

from collector.configuration import MqttConfiguration
from collector.errors import ConfigError
from collector.mqtt.connection import Answer, Connection, Topics
from collector.mqtt.marker import Marker
from collector.mqtt.protocol import Protocol, ProtocolChoice
from collector.mqtt.reaching import Pauses, Reaching
from collector.mqtt.reasons import UNSUPPORTED_PROTOCOL_VERSION, explain
from collector.mqtt.received import CaughtUp, Connected, Disconnected, Receipt, Received
from collector.mqtt.state_gate import StateGate

_LOG = logging.getLogger(__name__)

# Some brokers that only know 3.1.1 leave a CONNECT of MQTT 5 unanswered, waiting for more of it.
ANSWER_LIMIT_S = {Protocol.V5: 3.0, Protocol.V3_1_1: 15.0}
# A connection that held this long was a good one: the pauses begin anew.
GOOD_AFTER_S = 10.0
# Messages read before the store has its turn.
READ_LIMIT = 1000
# What a broker may send unacknowledged where MQTT 3.1.1 gives us no say: mosquitto's default.
DEFAULT_WINDOW = 20


class Session:
    """The service's session with its broker; see `receive`.

    Parameters
    ----------
    configuration
        Where the broker is and how to log in.
    filters
        Topic filters to subscribe to.
    now_us
        Tank time, for the arrival of messages.
    recall, remember
        Notes that outlive the service, by key.
    monotonic, jitter
        Wall seconds, and a number from 0 to 1 that spreads the pauses of many clients.
    """

    def __init__(
        self,
        configuration: MqttConfiguration,
        filters: Sequence[str],
        now_us: Callable[[], int],
        *,
        recall: Callable[[str], str | None] = lambda _: None,
        remember: Callable[[str, str], None] = lambda _key, _note: None,
        monotonic: Callable[[], float] = time.monotonic,
        jitter: Callable[[], float] = random.random,
    ) -> None:
        self._configuration = configuration
        self._topics = Topics.of(configuration.client_id)
        self._filters = (*dict.fromkeys(filters), self._topics.marker)
        self._now_us = now_us
        self._recall, self._remember = recall, remember
        self._monotonic, self._jitter = monotonic, jitter
        self._broker = f"{configuration.host}:{configuration.port}"
        protocol_note = f"mqtt protocol {self._broker}"
        self._protocol = ProtocolChoice(recall(protocol_note), lambda note: remember(protocol_note, note))
        self._filters_note = f"mqtt filters {self._broker} {configuration.client_id}"
        self._number = 0
        self._connection: Connection | None = None
        self._reaching: Reaching | None = None
        self._is_let_in = False
        self._since_s = 0.0
        self._pauses = Pauses(jitter)
        self._retry_at_s = 0.0
        self._marker = Marker()
        self._may_publish = True
        self._states = StateGate()
        self._was_cut_short = False
        self._said = ""
        self._waker, self._woken = socket.socketpair()
        self._waker.setblocking(False)
        self._woken.setblocking(False)
        self._poll = self._new_poll()

    # -- what the loop of the service calls --------------------------------------------------------

    @property
    def window(self) -> int:
        """How many messages the broker may send before it waits for acknowledgements."""
        if self._connection is not None and self._connection.protocol is Protocol.V5:
            return self._configuration.receive_maximum
        return DEFAULT_WINDOW

    @property
    def unacknowledged(self) -> int:
        """How many messages of this connection are not acknowledged yet."""
        return 0 if self._connection is None else self._connection.unacknowledged

    @property
    def protocol(self) -> Protocol | None:
        """The version of MQTT that is being spoken; None while there is no connection."""
        return self._connection.protocol if self._connection is not None and self._is_let_in else None

    @property
    def publishing_on(self) -> int | None:
        """The number of the connection that takes states now; None while there is none."""
        return self._number if self._states.is_open else None

    def publish(self, topic: str, payload: bytes) -> None:
        """Publish a state for others, retained, where a connection takes it; never waits."""
        if self._connection is not None and self._states.is_open:
            self._states.sent(self._monotonic())
            self._connection.publish_state(topic, payload)

    def sign(self, payload: bytes, name: str = "sign_of_life") -> bool:
        """Publish to the service's own topic of that name, retained; False where nobody takes it."""
        if self._connection is None or not self._is_let_in or self._connection.lost is not None:
            return False
        self._publish(self._connection, self._topics.named(name), payload, retain=True)
        return True

    def say(self, topic: str, payload: bytes) -> None:
        """Publish for whoever listens now, not retained; it is gone where no connection takes it."""
        if self._connection is not None and self._is_let_in and self._connection.lost is None:
            self._publish(self._connection, topic, payload, retain=False)

    def receive(self, timeout_s: float) -> Received:
        """Wait for messages or a change of the connection, at most so long, and hand out what came."""
        if self._connection is None:
            self._connection = self._reach(timeout_s)
            if self._connection is None:
                return Received((), None, None, Receipt(self._number, 0), True)
            timeout_s = 0.0
        self._wait(self._connection, timeout_s)
        return self._exchange(self._connection)

    def acknowledge(self, receipt: Receipt) -> None:
        """Tell the broker that all a receipt stands for is safe; nothing if its connection is gone."""
        if self._connection is not None and receipt.connection == self._number:
            self._connection.acknowledge(receipt.up_to)

    def mark(self) -> None:
        """Publish a new marker, behind all acknowledgements given so far."""
        if self._connection is not None and self._is_let_in:
            payload = self._marker.make(self._monotonic())
            self._publish(self._connection, self._topics.marker, payload)

    def wake(self) -> None:
        """Let a waiting `receive` return; may be called from any thread and from a signal handler."""
        with suppress(OSError):  # it is awake already, or closed
            self._waker.send(b"\0")

    def close(self, timeout_s: float = 2.0) -> None:
        """Send the acknowledgements that wait, say goodbye, and leave the session with the broker."""
        connection, self._connection = self._connection, None
        if connection is not None:
            if self._is_let_in and connection.lost is None:
                self._states.close()
                self._publish(connection, self._topics.status, b"offline", retain=True)
                connection.say_goodbye()
                end_s = self._monotonic() + timeout_s
                while connection.lost is None and connection.wants_write and self._monotonic() < end_s:
                    self._wait(connection, 0.1)
                    connection.write()
            connection.abandon()
        self._waker.close()
        self._woken.close()

    # -- reaching the broker -----------------------------------------------------------------------

    def _reach(self, timeout_s: float) -> Connection | None:
        """Wait at most so long for the next attempt, or one that runs; return a connection that stands."""
        if self._reaching is None:
            pause_s = self._retry_at_s - self._monotonic()
            if pause_s > 0:
                self._sleep(min(pause_s, timeout_s))
                return None
            connection = self._make_connection()
            if connection is None:
                return None
            self._reaching = Reaching(connection, self.wake)
        if not self._reaching.is_done:
            self._sleep(timeout_s)
        if not self._reaching.is_done:
            return None
        reaching, self._reaching = self._reaching, None
        if reaching.error is not None:
            self._retry_later(
                f"the broker at {self._broker} cannot be reached ({reaching.error}); is it running, and are "
                "[mqtt] host and port right?"
            )
            return None
        self._number += 1
        self._since_s = self._monotonic()
        self._is_let_in = False
        self._marker.forget()
        self._poll = self._new_poll()
        return reaching.connection

    def _make_connection(self) -> Connection | None:
        try:
            return Connection(self._configuration, self._protocol.current, self._now_us)
        except ConfigError as error:
            # At the start it is the operator's turn; later a file may be missing for a while.
            if not self._number:
                raise
            self._retry_later(str(error))
            return None

    def _retry_later(self, reason: str) -> None:
        self._retry_at_s = self._monotonic() + self._pauses.next()
        self._say(logging.WARNING, f"{reason} Trying again until it works.")

    def _say(self, level: int, what: str) -> None:
        """Log a change of state, and say the same thing only once in a row."""
        if what != self._said:
            self._said = what
            _LOG.log(level, "%s", what)

    def _new_poll(self) -> select.poll:
        poll = select.poll()
        poll.register(self._woken, select.POLLIN)
        return poll

    def _sleep(self, timeout_s: float) -> None:
        for _ in self._new_poll().poll(_milliseconds(timeout_s)):
            self._woken.recv(4096)

    # -- one round of a connection -----------------------------------------------------------------

    def _wait(self, connection: Connection, timeout_s: float) -> None:
        number = connection.fileno()
        if number < 0:
            return
        self._poll.register(number, select.POLLIN | (select.POLLOUT if connection.wants_write else 0))
        for ready, _ in self._poll.poll(0 if self._was_cut_short else _milliseconds(timeout_s)):
            if ready != number:
                self._woken.recv(4096)

    def _exchange(self, connection: Connection) -> Received:
        """Write what waits, read what is there, and see what the broker said."""
        if connection.wants_write:
            connection.write()
        # Half the window, so that the broker has something to send while the other half is committed.
        limit = (
            min(READ_LIMIT, max(1, self.window // 2)) if connection.protocol is Protocol.V5 else READ_LIMIT
        )
        self._was_cut_short = connection.read(limit)
        connection.keep_alive()
        messages, connection.messages = connection.messages, []
        receipt = Receipt(self._number, connection.arrived)
        caught_up = self._look_for_marker(connection, len(messages))
        return Received(messages, caught_up, self._follow(connection), receipt, not self._was_cut_short)

    def _look_for_marker(self, connection: Connection, count: int) -> CaughtUp | None:
        now_s = self._monotonic()
        self._marker.see(count, now_s)
        returned, connection.marker = connection.marker, None
        if returned is not None and self._marker.is_this(returned[0]):
            self._marker.forget()
            return CaughtUp(returned[1], was_heard=True)
        if self._marker.is_overdue(now_s):
            self._marker.forget()
            _LOG.warning(
                "the broker does not give us back what we publish to %s, so an outage cannot be told from "
                "silence for sure; let this user read and write brinebell/service/#",
                self._topics.marker,
            )
            return CaughtUp(count, was_heard=False)
        return None

    def _follow(self, connection: Connection) -> Connected | Disconnected | None:
        """Take note of what the broker said this round."""
        if not self._is_let_in and connection.answer is not None:
            return self._take_answer(connection, connection.answer)
        if connection.grants is not None:
            self._take_grants(connection, connection.grants)
            connection.grants = None
        if connection.denied is not None and self._may_publish:
            self._may_publish = False
            _LOG.error(
                "the broker does not let us publish to brinebell/service/#: %s", explain(connection.denied)
            )
        if connection.denied_state is not None:
            self._states.denied(connection.denied_state)
        if connection.lost is not None:
            return self._lose(connection)
        if self._is_let_in:
            if self._monotonic() - self._since_s > GOOD_AFTER_S:
                self._pauses.begin_anew()
        elif self._monotonic() - self._since_s > ANSWER_LIMIT_S[connection.protocol]:
            self._give_up_unanswered(connection)
        return None

    def _take_answer(self, connection: Connection, answer: Answer) -> Connected | None:
        if answer.reason == UNSUPPORTED_PROTOCOL_VERSION:
            self._drop(connection)
            self._try_other_protocol(connection, explicitly=True)
            return None
        if answer.reason:
            self._drop(connection)
            self._retry_later(f"the broker at {self._broker} refused us: {explain(answer.reason)}.")
            return None
        self._is_let_in = True
        self._protocol.accepted()
        kept = "the broker kept our session" if answer.session_present else "with a new session"
        self._say(logging.INFO, f"connected to {self._broker}, MQTT {connection.protocol}, {kept}")
        if (
            answer.session_expiry_s is not None
            and answer.session_expiry_s < self._configuration.session_expiry_s
        ):
            _LOG.warning(
                "the broker keeps messages for us only %d s while we are away; let it keep sessions longer",
                answer.session_expiry_s,
            )
        self._subscribe(connection, answer.session_present)
        return Connected(self._number, answer.session_present)

    def _subscribe(self, connection: Connection, session_present: bool) -> None:
        connection.subscribe(self._filters)
        old = (self._recall(self._filters_note) or "").split("\n")
        given_up = [one for one in old if one and one not in self._filters]
        if session_present and given_up:
            connection.unsubscribe(given_up)
        if old != list(self._filters):
            self._remember(self._filters_note, "\n".join(self._filters))

    def _take_grants(self, connection: Connection, grants: Sequence[int]) -> None:
        for topic_filter, code in zip(self._filters, grants, strict=False):
            if code >= 0x80:
                _LOG.error("the broker does not let us read %s: %s", topic_filter, explain(code))
            elif code == 0:
                _LOG.warning(
                    "the broker sends %s only with quality of service 0: what is sent while we are away is "
                    "lost; use a broker that grants quality of service 1",
                    topic_filter,
                )
        self._publish(connection, self._topics.status, b"online", retain=True)
        self.mark()
        # Behind the marker, which is to come back soon.
        self._states.open()

    def _publish(self, connection: Connection, topic: str, payload: bytes, *, retain: bool = False) -> None:
        # mosquitto 2.0.11 ends a connection on which something forbidden is published.
        if self._may_publish:
            connection.publish(topic, payload, retain=retain)

    def _lose(self, connection: Connection) -> Disconnected | None:
        if connection.protocol is Protocol.V3_1_1:
            self._states.lost(self._monotonic())
        self._drop(connection)
        if not self._is_let_in:
            self._try_other_protocol(connection, explicitly=False)
            return None
        code = connection.lost or 0
        reason = f": {explain(code)}" if code else ""
        hint = ""
        if not code and self._monotonic() - self._since_s < GOOD_AFTER_S and self._pauses.is_long:
            hint = " If this goes on, two services may share one [mqtt] client_id."
        self._retry_later(f"the connection to {self._broker} was lost{reason}.{hint}")
        return Disconnected(self._number)

    def _give_up_unanswered(self, connection: Connection) -> None:
        self._drop(connection)
        self._try_other_protocol(connection, explicitly=False)

    def _try_other_protocol(self, connection: Connection, *, explicitly: bool) -> None:
        if self._protocol.turned_down(explicitly=explicitly):
            _LOG.info(
                "the broker at %s %s MQTT %s: trying MQTT %s",
                self._broker,
                "does not speak" if explicitly else "gives no answer to",
                connection.protocol,
                self._protocol.current,
            )
            self._retry_at_s = self._monotonic()
        else:
            self._retry_later(f"the broker at {self._broker} gives no answer to our wish to connect.")

    def _drop(self, connection: Connection) -> None:
        connection.abandon()
        self._marker.forget()
        self._states.close()
        self._connection = None
        self._was_cut_short = False


def _milliseconds(seconds: float) -> int:
    return max(0, math.ceil(seconds * 1000))
