"""Logging, set up once by the entry point: to standard error, for a person or for the system's journal."""

from __future__ import annotations

import logging
import os
import sys
from collections.abc import Mapping
from typing import TextIO

# Priorities of syslog, RFC 5424 table 2, which the journal reads from <N> at the start of a line.
_SYSLOG = {logging.DEBUG: 7, logging.INFO: 6, logging.WARNING: 4, logging.ERROR: 3, logging.CRITICAL: 2}


class _JournalFormatter(logging.Formatter):
    """The journal stamps times itself and wants the priority."""

    def format(self, record: logging.LogRecord) -> str:
        priority = next(
            (syslog for level, syslog in sorted(_SYSLOG.items(), reverse=True) if record.levelno >= level), 7
        )
        # Each line of a traceback is a line of the journal.
        return "\n".join(f"<{priority}>{line}" for line in super().format(record).splitlines())


def start_logging(
    *, is_verbose: bool = False, environ: Mapping[str, str] = os.environ, stream: TextIO | None = None
) -> None:
    """Send the log to a stream, standard error by default, with our own debug lines if `is_verbose`."""
    handler = logging.StreamHandler(sys.stderr if stream is None else stream)
    if "JOURNAL_STREAM" in environ:
        handler.setFormatter(_JournalFormatter("%(name)s: %(message)s"))
    else:
        handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(name)s: %(message)s"))
    root = logging.getLogger()
    for old in root.handlers[:]:
        root.removeHandler(old)
    root.addHandler(handler)
    root.setLevel(logging.INFO)
    for ours in ("collector", "rules"):
        logging.getLogger(ours).setLevel(logging.DEBUG if is_verbose else logging.INFO)
