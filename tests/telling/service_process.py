"""`brinebell run` in which time goes faster: `service_process.py CONFIGURATION RATE START_US`.

A minute of tank time then passes within a second or so of ours, so that a night can be played through.
"""

from __future__ import annotations

import logging
import sys
from pathlib import Path

from collector.clock import Clock
from collector.serving import serve
from collector.settings import load_configuration


def main() -> None:
    path, rate, start_us = sys.argv[1:]
    logging.basicConfig(level=logging.INFO, format="%(levelname)s %(name)s %(message)s")
    clock = Clock(start_us=int(start_us), rate=float(rate))
    sys.exit(serve(load_configuration(Path(path)), clock=clock))


if __name__ == "__main__":
    main()
