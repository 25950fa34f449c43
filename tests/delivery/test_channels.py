"""What channels are called, and how an answer of apprise becomes a result."""

from __future__ import annotations

import subprocess
import sys

import pytest

from collector.messages import Outcome
from collector.sending.channels import channel_names, send
from rules import Priority
from tests.delivery.post import BODY, TITLE
from tests.delivery.receivers import MailReceiver, SilentReceiver, WebReceiver, free_port

# apprise asks the standard library for a module that Python 3.13 no longer has, where there is one.
pytestmark = pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning")


@pytest.mark.parametrize(
    ("urls", "names"),
    [
        ((), ()),
        (("json://host/secret",), ("json",)),
        (("mailto://a", "JSON://b", "mailto://c"), ("mailto", "json", "mailto 2")),
        (("no address",), ("channel",)),
    ],
)
def test_channel_is_called_by_its_scheme_and_number(urls: tuple[str, ...], names: tuple[str, ...]) -> None:
    assert channel_names(urls) == names


def test_other_channels_do_not_rename_a_channel() -> None:
    assert channel_names(("mailto://a", "json://b"))[1] == channel_names(("json://b",))[0]


def ring(url: str) -> tuple[Outcome, str]:
    return send(url, TITLE, BODY, Priority.URGENT)


def test_delivered_needs_no_reason() -> None:
    with WebReceiver() as web:
        assert ring(web.url) == (Outcome.DELIVERED, "")
    with MailReceiver() as mail:
        assert ring(mail.url()) == (Outcome.DELIVERED, "")


@pytest.mark.parametrize("status", [400, 403, 404, 429, 500, 503])
def test_refusal_names_the_status(status: int) -> None:
    with WebReceiver(status) as web:
        outcome, reason = ring(web.url)
    assert outcome is Outcome.FAILED
    assert str(status) in reason


def test_nobody_listening_is_a_failure_that_says_so() -> None:
    outcome, reason = ring(f"json://127.0.0.1:{free_port()}/token-9a3c")
    assert outcome is Outcome.FAILED
    assert "refused" in reason
    assert "token-9a3c" not in reason


def test_missing_answer_is_not_taken_for_a_failure() -> None:
    with SilentReceiver() as silent:
        outcome, reason = ring(f"{silent.url}?rto=0.2")
    assert outcome is Outcome.INTERRUPTED
    assert "timed out" in reason


@pytest.mark.parametrize("url", ["nonsense://host/token-9a3c", "token-9a3c", "mailto://token-9a3c", ""])
def test_address_that_apprise_does_not_know_is_a_failure_without_the_address(url: str) -> None:
    outcome, reason = ring(url)
    assert outcome is Outcome.FAILED
    assert reason
    assert "token-9a3c" not in reason


def test_channel_marked_optional_still_has_to_deliver() -> None:
    outcome, _ = ring(f"json://127.0.0.1:{free_port()}/?optional=yes")
    assert outcome is Outcome.FAILED


def test_importing_delivery_does_not_import_apprise() -> None:
    code = "import sys, collector.delivery; sys.exit('apprise' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
