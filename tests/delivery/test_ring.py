"""The test message goes over every channel, and each says how it went."""

from __future__ import annotations

import sys

from collector.delivery import send_test
from collector.delivery.ring import BODY, TITLE
from tests.delivery.post import configuration
from tests.delivery.receivers import MailReceiver, WebReceiver, free_port


def test_each_channel_tells_whether_it_took_the_message() -> None:
    with WebReceiver() as web, MailReceiver() as mail:
        dead = f"json://127.0.0.1:{free_port()}/token-9a3c"
        results = send_test(configuration(web.url, dead, mail.url()))
    assert [(one.person, one.channel, one.is_delivered) for one in results] == [
        ("sam", "json", True),
        ("sam", "json 2", False),
        ("sam", "mailto", True),
    ]
    assert "refused" in results[1].reason
    assert "token-9a3c" not in results[1].reason
    assert web.rings == [(TITLE, BODY)]
    assert mail.mails[0]["subject"] == TITLE


def test_nobody_to_tell_is_no_result() -> None:
    assert send_test(configuration()) == []


def test_sender_that_dies_is_told_for_every_channel() -> None:
    results = send_test(
        configuration("json://127.0.0.1:1/"), command=lambda: (sys.executable, "-c", "raise SystemExit(3)")
    )
    assert [(one.is_delivered, one.reason) for one in results] == [
        (False, "the sender process died (status 3)")
    ]


def test_sender_that_hangs_is_not_waited_for() -> None:
    hanging = (sys.executable, "-c", "import time; time.sleep(99)")
    (result,) = send_test(configuration("json://127.0.0.1:1/"), command=lambda: hanging, patience_s=0.3)
    assert not result.is_delivered
    assert "no answer" in result.reason


def test_test_message_keeps_to_the_bounds_of_all_messages() -> None:
    assert len(TITLE) <= 60
    assert len(TITLE.split()) <= 12
    assert len(BODY.split()) <= 40
