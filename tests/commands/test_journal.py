"""The log: for a person with times, for the system's journal with priorities."""

from __future__ import annotations

import io
import logging
from collections.abc import Iterator

import pytest

from collector.journal import start_logging


@pytest.fixture(autouse=True)
def logging_as_it_was() -> Iterator[None]:
    root = logging.getLogger()
    handlers, level = root.handlers[:], root.level
    ours = {name: logging.getLogger(name).level for name in ("collector", "rules")}
    yield
    root.handlers[:] = handlers
    root.setLevel(level)
    for name, one in ours.items():
        logging.getLogger(name).setLevel(one)


def _log(*, is_verbose: bool, environ: dict[str, str]) -> list[str]:
    stream = io.StringIO()
    start_logging(is_verbose=is_verbose, environ=environ, stream=stream)
    log = logging.getLogger("collector.some.part")
    log.debug("fine\ndetail")
    log.info("usual")
    log.warning("unusual")
    log.error("broken")
    logging.getLogger("another.library").debug("chatter")
    return stream.getvalue().splitlines()


def test_person_reads_time_level_and_name() -> None:
    first, *_ = lines = _log(is_verbose=False, environ={})
    assert len(lines) == 3
    assert first.endswith("INFO collector.some.part: usual")
    assert first[:4].isdecimal()


def test_journal_reads_priorities_of_rfc_5424() -> None:
    assert _log(is_verbose=False, environ={"JOURNAL_STREAM": "8:1"}) == [
        "<6>collector.some.part: usual",
        "<4>collector.some.part: unusual",
        "<3>collector.some.part: broken",
    ]


def test_verbose_adds_our_own_debug_lines_and_no_others() -> None:
    lines = _log(is_verbose=True, environ={"JOURNAL_STREAM": "8:1"})
    assert lines[:2] == ["<7>collector.some.part: fine", "<7>detail"]
    assert len(lines) == 5
