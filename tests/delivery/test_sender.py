"""The sender process by itself: lines in, lines out, and it ends with its input."""

from __future__ import annotations

import json
import subprocess
import sys

from tests.delivery.receivers import WebReceiver, free_port

COMMAND = [sys.executable, "-m", "collector.sending"]


def request(number: int, url: str) -> str:
    content = {"number": number, "url": url, "title": f"title {number}", "body": "body", "priority": "high"}
    return json.dumps(content) + "\n"


def test_every_request_is_answered_and_the_end_of_input_ends_it() -> None:
    with WebReceiver() as web:
        lines = request(1, web.url) + request(2, f"json://127.0.0.1:{free_port()}/") + request(3, web.url)
        done = subprocess.run(COMMAND, input=lines, capture_output=True, text=True, timeout=60, check=True)
    ready, *answers = map(json.loads, done.stdout.splitlines())
    assert ready == {"ready": True}
    assert {answer["number"]: answer["outcome"] for answer in answers} == {
        1: "delivered",
        2: "failed",
        3: "delivered",
    }
    assert sorted(title for title, _ in web.rings) == ["title 1", "title 3"]
    assert done.stderr == ""


def test_help_has_an_example() -> None:
    done = subprocess.run([*COMMAND, "--help"], capture_output=True, text=True, timeout=60, check=True)
    assert "Example: echo" in done.stdout


def test_it_holds_nothing_of_the_engine() -> None:
    """Memory is scarce where it runs, beside the service."""
    code = "import sys, collector.sending.__main__; sys.exit(bool({'rules', 'numpy'} & set(sys.modules)))"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
