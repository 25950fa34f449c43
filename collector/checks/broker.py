"""Does the broker let us in, and will it keep for us what arrives while we are away?

Connects under a client id of its own, so that a running service keeps its session.
"""

from __future__ import annotations

import select
import ssl
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from collector.checks.finding import Finding, Verdict
from collector.configuration import MqttConfiguration
from collector.mqtt.connection import Answer, Connection
from collector.mqtt.protocol import Protocol
from collector.mqtt.reasons import UNSUPPORTED_PROTOCOL_VERSION, explain

_PART = "broker"
# MQTT 5.0, 2.4: bad user name or password, not authorised.
_NOT_AUTHORISED = (0x86, 0x87)
# A broker in the same house answers in milliseconds.
_ANSWER_LIMIT_S = 5.0

# What deploy/install writes.
INSTALLED = Path("/etc/mosquitto/conf.d/brinebell.conf")
STOCK_BROKER = Finding(
    _PART,
    Verdict.NOTE,
    "a mosquitto as its package sets it up queues 1,000 messages for a service that is away and forgets "
    "them when it is killed or loses power",
    "deploy/mosquitto/brinebell.conf keeps them: persistence, autosave on changes, a queue bounded by "
    "bytes; nothing to do if the broker has these lines, which it does not tell",
)


def check_broker(configuration: MqttConfiguration) -> Iterator[Finding]:
    """Try to log in as the service would."""
    where = f"{configuration.host}:{configuration.port}"
    trial = replace(configuration, client_id=f"{configuration.client_id}-check")
    for protocol in (Protocol.V5, Protocol.V3_1_1):
        try:
            answer = _answer(trial, protocol)
        except (OSError, ValueError) as error:
            yield _not_reached(where, error, is_tls=configuration.tls)
            return
        if protocol is Protocol.V5 and (answer is None or answer.reason == UNSUPPORTED_PROTOCOL_VERSION):
            continue
        yield from _judge(configuration, where, protocol, answer)
        return


def _judge(
    configuration: MqttConfiguration, where: str, protocol: Protocol, answer: Answer | None
) -> Iterator[Finding]:
    if answer is None:
        yield Finding(
            _PART,
            Verdict.WRONG,
            f"{where} takes the connection and then says nothing, or ends it",
            "mqtt.port may be that of another program, or the broker wants TLS there: "
            "set mqtt.tls = true, or the port without TLS"
            if not configuration.tls
            else "look into the broker's own log",
        )
        return
    if answer.reason in _NOT_AUTHORISED:
        # MQTT has a code for each, and mosquitto gives the second for both.
        yield Finding(
            _PART,
            Verdict.WRONG,
            f"{where} does not let {_who(configuration)}",
            "set mqtt.username and the password (mqtt.password_file) as the broker has them; it may also let "
            "in only some users or addresses",
        )
        return
    if answer.reason:
        yield Finding(_PART, Verdict.WRONG, f"{where} refuses us: {explain(answer.reason)}")
        return
    version = "MQTT 5" if protocol is Protocol.V5 else "MQTT 3.1.1, since it refuses MQTT 5"
    yield Finding(_PART, Verdict.WELL, f"{where} lets us in, with {version}")
    kept_s = answer.session_expiry_s
    if kept_s is not None and kept_s < configuration.session_expiry_s:
        yield Finding(
            _PART,
            Verdict.NOTE,
            f"it keeps messages for us for {kept_s} s, not for {configuration.session_expiry_s} s as asked",
            "raise the broker's limit of session expiry, or lower mqtt.session_expiry to what is true",
        )
    if configuration.host in ("127.0.0.1", "::1", "localhost") and INSTALLED.exists():
        yield Finding(_PART, Verdict.WELL, f"it keeps what comes while we are away, as {INSTALLED} says")
    else:
        yield STOCK_BROKER


def _who(configuration: MqttConfiguration) -> str:
    if configuration.username is None:
        return "us in without a user name"
    how = "without a password" if configuration.password is None else "with this password"
    return f'user "{configuration.username}" in {how}'


def _answer(configuration: MqttConfiguration, protocol: Protocol) -> Answer | None:
    """What the broker answers to our wish to connect; None if it does not within the limit."""
    connection = Connection(configuration, protocol, lambda: time.time_ns() // 1000)
    try:
        connection.open()
        end = time.monotonic() + _ANSWER_LIMIT_S
        while connection.answer is None and connection.lost is None and connection.fileno() >= 0:
            left = end - time.monotonic()
            if left <= 0:
                break
            writing = [connection.fileno()] if connection.wants_write else []
            readable, writable, _ = select.select([connection.fileno()], writing, [], left)
            if writable:
                connection.write()
            if readable:
                connection.read(1)
        if connection.answer is not None and not connection.answer.reason:
            connection.say_goodbye()
            connection.write()
        return connection.answer
    finally:
        with suppress(OSError):
            connection.abandon()


def _not_reached(where: str, error: Exception, *, is_tls: bool) -> Finding:
    """Say in plain words why there was no connection; the order is from the narrower to the wider error."""
    if isinstance(error, ssl.SSLCertVerificationError):
        text = f"the certificate of {where} is not trusted ({error.verify_message})"
        mend = (
            "name the authority that signed it in mqtt.ca_file; mqtt.host must be the name in the certificate"
        )
    elif isinstance(error, ssl.SSLError) or (is_tls and isinstance(error, ConnectionResetError)):
        text = f"{where} does not speak TLS as we do ({error})"
        mend = "set mqtt.port to the broker's TLS port, usually 8883, or mqtt.tls = false"
    elif isinstance(error, ConnectionRefusedError):
        text = f"nothing listens at {where}"
        mend = (
            "start the broker, or correct mqtt.host and mqtt.port; one that listens only to its own "
            "machine refuses others"
        )
    elif isinstance(error, TimeoutError):
        text = f"{where} does not answer"
        mend = "correct mqtt.host, look at the network, and at a firewall in between"
    else:
        text = f"{where} cannot be reached ({error})"
        mend = "correct mqtt.host, and look at the network"
    return Finding(_PART, Verdict.WRONG, text, mend)
