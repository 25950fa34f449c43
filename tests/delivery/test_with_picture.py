"""A picture goes with a ring where the channel takes one, and never costs the ring."""

from __future__ import annotations

import base64
import io
import json
import logging
import socket
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from PIL import Image

from collector.clock import Clock
from collector.delivery import DeliveryWorker
from collector.messages import NewMessage, Outcome
from collector.picture.pictures import Pictures
from collector.picture.process import PictureError, picture_of
from collector.sending.channels import send
from collector.store import Outbox
from rules import Priority
from tests.delivery.post import BODY, TITLE, outcomes, query, states
from tests.delivery.receivers import MailReceiver, SilentReceiver, WebReceiver, free_port, wait_for
from tests.picture.examples import falling
from tests.picture.night import SENT, day, reader, write
from tests.wording.example import HEATER, configuration

# apprise asks the standard library for a module that Python 3.13 no longer has, where there is one.
pytestmark = pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning")


def picture() -> bytes:
    return picture_of(falling().to_data())


def ring(url: str, draw: Callable[[], bytes] = picture) -> tuple[Outcome, str]:
    return send(url, TITLE, BODY, Priority.URGENT, draw)


def assert_is_picture(content: bytes) -> None:
    with Image.open(io.BytesIO(content)) as image:
        assert (image.format, image.size) == ("PNG", (1000, 600))


# -- one try ---------------------------------------------------------------------------------------


def test_mail_brings_the_picture() -> None:
    with MailReceiver() as mail:
        assert ring(mail.url()) == (Outcome.DELIVERED, "")
    (received,) = mail.mails
    (attached,) = received.iter_attachments()
    assert attached.get_content_type() == "image/png"
    assert attached.get_filename() == "last-hours.png"
    assert_is_picture(attached.get_content())
    assert received["subject"] == TITLE


def test_post_brings_the_picture() -> None:
    with WebReceiver() as web:
        assert ring(web.url) == (Outcome.DELIVERED, "")
    ((attached,),) = web.attachments
    assert attached["mimetype"] == "image/png"
    assert_is_picture(base64.b64decode(attached["base64"]))
    assert web.rings == [(TITLE, BODY)]


def test_channel_that_takes_no_files_gets_the_words_and_nothing_is_drawn() -> None:
    """A system log over UDP, RFC 5424, takes words alone."""

    def draw() -> bytes:
        raise AssertionError("nobody would have seen it")

    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as log:
        log.bind(("127.0.0.1", 0))
        log.settimeout(10)
        assert ring(f"rsyslog://127.0.0.1:{log.getsockname()[1]}/", draw) == (Outcome.DELIVERED, "")
        assert TITLE.encode() in log.recv(4096)


def test_picture_that_fails_is_left_out_and_the_reason_says_so() -> None:
    def draw() -> bytes:
        raise PictureError("there was no room")

    with WebReceiver() as web:
        assert ring(web.url, draw) == (Outcome.DELIVERED, "sent without its picture: there was no room")
    assert web.rings == [(TITLE, BODY)]
    assert web.attachments == [[]]


def test_body_that_is_too_large_for_the_server_goes_without_its_picture() -> None:
    with WebReceiver(most_bytes=10_000) as web:
        outcome, reason = ring(web.url)
    assert outcome is Outcome.DELIVERED
    assert reason.startswith("sent without its picture, which was refused: ")
    assert "413" in reason
    assert (web.refused, web.rings, web.attachments) == (1, [(TITLE, BODY)], [[]])


def test_picture_whose_answer_is_missing_may_have_arrived_and_is_not_sent_again() -> None:
    drawn = []

    def draw() -> bytes:
        drawn.append(picture())
        return drawn[-1]

    with SilentReceiver() as silent:
        outcome, reason = ring(f"{silent.url}?rto=0.3", draw)
    assert outcome is Outcome.INTERRUPTED
    assert "timed out" in reason
    assert len(drawn) == 1


def test_message_of_which_a_part_was_taken_is_not_sent_again_at_once() -> None:
    """One of two mails was taken: the person may have it, so this try is over."""
    with MailReceiver(unknown="nobody@example.org") as mail:
        url = mail.url().replace("to=sam@example.org", "to=sam@example.org,nobody@example.org")
        outcome, reason = ring(url)
        again = send(url, TITLE, BODY, Priority.URGENT)
    assert outcome is again.outcome is Outcome.INTERRUPTED
    assert "550" in reason
    assert len(mail.mails) == 2


def test_refusal_with_and_without_a_picture_is_a_failure() -> None:
    with WebReceiver(500) as web:
        outcome, reason = ring(web.url)
    assert outcome is Outcome.FAILED
    assert "500" in reason
    assert web.requests == 2


def test_nothing_is_left_of_the_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    with WebReceiver() as web:
        assert ring(web.url) == (Outcome.DELIVERED, "")
    assert web.attachments[0]
    assert list(tmp_path.iterdir()) == []


def test_file_that_cannot_be_written_costs_the_picture_only(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tempfile.tempdir", "/there/is/no/such/folder")
    with WebReceiver() as web:
        outcome, reason = ring(web.url)
    assert outcome is Outcome.DELIVERED
    assert "without its picture" in reason
    assert web.rings == [(TITLE, BODY)]


# -- the sender process ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("sketch", "has_picture", "complaint"),
    [
        (falling().to_data(), True, ""),
        (None, False, ""),
        ({"title": "no sketch"}, False, "request 1: sent without its picture: it could not be drawn"),
    ],
)
def test_sender_process_draws_what_it_is_given(
    sketch: dict[str, object] | None, has_picture: bool, complaint: str
) -> None:
    with WebReceiver() as web:
        request = {"number": 1, "url": web.url, "title": TITLE, "body": BODY, "priority": "urgent"}
        done = subprocess.run(
            [sys.executable, "-m", "collector.sending"],
            input=json.dumps({**request, "picture": sketch}) + "\n",
            capture_output=True,
            text=True,
            timeout=60,
            check=True,
        )
    assert json.loads(done.stdout.splitlines()[-1])["outcome"] == "delivered"
    assert bool(web.attachments[0]) == has_picture
    assert done.stderr.startswith(complaint)
    assert bool(done.stderr) == bool(complaint)


def test_pillow_is_loaded_by_no_process_that_lasts() -> None:
    code = "import sys, collector.service, collector.sending.__main__; sys.exit('PIL' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


# -- from the outbox to the phone ------------------------------------------------------------------


def clock_at(rate: float = 1.0) -> Clock:
    """Begins when the example's message is sent."""
    return Clock(start_us=SENT, rate=rate)


def opened(kind: str = "opened", channel: str = "json") -> NewMessage:
    return NewMessage(7, kind, "sam", channel, SENT, SENT, TITLE, BODY, Priority.URGENT)


def test_ring_brings_the_picture_of_its_incident_and_what_is_known_already_none(tmp_path: Path) -> None:
    path = write(tmp_path, HEATER, day, opened(), opened("back"), opened(channel="mailto"))
    with WebReceiver() as web, MailReceiver() as mail, Outbox(path) as outbox, reader(path) as record:
        people = (replace(configuration().people[0], urls=(web.url, mail.url())),)
        setup, clock = replace(configuration(), people=people), clock_at()
        pictures = Pictures(record, setup, dict, clock)
        with DeliveryWorker(setup, outbox, clock=clock, picture=pictures):
            wait_for(lambda: states(path) == ["done"] * 3)
    first, second = web.attachments
    assert_is_picture(base64.b64decode(first[0]["base64"]))
    assert second == []
    (attached,) = mail.mails[0].iter_attachments()
    assert_is_picture(attached.get_content())
    assert query(path, "SELECT DISTINCT outcome, reason FROM tries") == [("delivered", "")]


def test_broken_record_costs_the_picture_only(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    path = write(tmp_path, HEATER, day, opened())
    record = reader(path)
    record.close()
    with WebReceiver() as web, Outbox(path) as outbox, caplog.at_level(logging.WARNING):
        people = (replace(configuration().people[0], urls=(web.url,)),)
        setup, clock = replace(configuration(), people=people), clock_at()
        with DeliveryWorker(setup, outbox, clock=clock, picture=Pictures(record, setup, dict, clock)):
            wait_for(lambda: states(path) == ["done"])
    assert web.rings == [(TITLE, BODY)]
    assert "goes without its picture" in caplog.text


def test_picture_that_cannot_be_drawn_costs_the_picture_only(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    path = write(tmp_path, HEATER, day, opened())
    with WebReceiver() as web, Outbox(path) as outbox, caplog.at_level(logging.WARNING):
        people = (replace(configuration().people[0], urls=(web.url,)),)
        setup = replace(configuration(), people=people)
        with DeliveryWorker(setup, outbox, clock=clock_at(), picture=lambda _: {"title": "no sketch"}):
            wait_for(lambda: states(path) == ["done"])
            wait_for(lambda: "sent without its picture" in caplog.text)
    assert web.rings == [(TITLE, BODY)]
    ((outcome, reason),) = query(path, "SELECT outcome, reason FROM tries")
    assert outcome == "delivered"
    assert reason.startswith("sent without its picture")


def test_message_whose_try_died_comes_without_a_picture_and_says_so(tmp_path: Path) -> None:
    """A picture that kills its sender may do so once."""
    path = write(tmp_path, HEATER, day, opened())
    command = (sys.executable, "-m", "collector.sending")
    commands = iter([(*command, "--stop-at", "taken")])
    with WebReceiver() as web, Outbox(path) as outbox, reader(path) as record:
        people = (replace(configuration().people[0], urls=(web.url,)),)
        setup = replace(configuration(), people=people)
        clock = clock_at(20.0)
        pictures = Pictures(record, setup, dict, clock)
        with DeliveryWorker(
            setup, outbox, clock=clock, command=lambda: next(commands, command), picture=pictures
        ):
            wait_for(lambda: states(path) == ["done"])
    assert outcomes(path) == ["interrupted", "delivered"]
    ((_, body),) = web.rings
    assert "Possibly repeated." in body
    assert web.attachments == [[]]


def test_nobody_there_is_tried_again_with_the_picture(tmp_path: Path) -> None:
    path = write(tmp_path, HEATER, day, opened())
    port = free_port()
    with Outbox(path) as outbox, reader(path) as record:
        people = (replace(configuration().people[0], urls=(f"json://127.0.0.1:{port}/",)),)
        setup = replace(configuration(), people=people)

        clock = clock_at(20.0)
        with DeliveryWorker(setup, outbox, clock=clock, picture=Pictures(record, setup, dict, clock)):
            wait_for(lambda: outcomes(path)[:1] == ["failed"])
            with WebReceiver(port=port) as web:
                wait_for(lambda: states(path) == ["done"], 60)
    assert len(web.rings) == 1
    assert web.attachments[0]
