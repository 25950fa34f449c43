"""`python -m collector.picture`: a sketch as JSON comes in, a PNG goes out, and the process ends.

By itself it is for `collector.picture.process`, which keeps what Pillow needs, and what it may do, out of
every process that lasts.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence

from collector.picture.sketch import Sketch


def main(arguments: Sequence[str] | None = None) -> int:
    """Draw what comes in."""
    argparse.ArgumentParser(
        prog="python -m collector.picture",
        description="Draw a sketch, given as JSON on the input, as a PNG on the output.",
        epilog="Example: python -m collector.picture < sketch.json > picture.png",
    ).parse_args(arguments)
    from collector.picture.drawing import draw

    sys.stdout.buffer.write(draw(Sketch.from_data(json.load(sys.stdin))))
    return 0


if __name__ == "__main__":
    sys.exit(main())
