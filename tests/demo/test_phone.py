"""The demo's phone: what is delivered to it rings, what is no message does not."""

from __future__ import annotations

import http.client
import json

import apprise
import pytest

from collector.demo.phone import Phone, Ring


def _post(phone: Phone, body: bytes) -> int:
    address = phone.url.removeprefix("json://").removesuffix("/phone")
    connection = http.client.HTTPConnection(address, timeout=5)
    try:
        connection.request("POST", "/phone", body)
        return connection.getresponse().status
    finally:
        connection.close()


# apprise asks the standard library for a module that Python 3.13 no longer has, where there is one.
@pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning")
@pytest.mark.parametrize(("kind", "is_loud"), [("failure", True), ("warning", True), ("info", False)])
def test_a_message_delivered_through_apprise_arrives_with_its_loudness(kind: str, is_loud: bool) -> None:
    rings: list[Ring] = []
    with Phone(rings.append) as phone:
        channel = apprise.Apprise()
        assert channel.add(phone.url)
        assert channel.notify(
            title="Heater failed off",
            body="Temperature falls 0.31 degC/h.",
            notify_type=apprise.NotifyType(kind),
        )
    assert rings == [Ring("Heater failed off", "Temperature falls 0.31 degC/h.", is_loud)]


@pytest.mark.parametrize(
    "body", [b"", b"not json", b"[]", b"7", b"{}", json.dumps({"title": "no message"}).encode()]
)
def test_what_is_no_message_is_refused_and_does_not_ring(body: bytes) -> None:
    rings: list[Ring] = []
    with Phone(rings.append) as phone:
        assert _post(phone, body) == 400
    assert rings == []


def test_receiver_is_gone_after_it_was_closed() -> None:
    with Phone(lambda ring: None) as phone:
        pass
    with pytest.raises(OSError, match="refused"):
        _post(phone, b"{}")
