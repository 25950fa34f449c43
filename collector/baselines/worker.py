"""The fitting process: reads the store, fits one series after the other, and answers with a line for each.

It exists for some seconds a night, for it is the one process that holds statsmodels. Its input is one
JSON object, `store`, `now_us` and `tasks`; a line of its output is `series` with `form` and `data`, or with
`error`. It writes nothing.
"""

from __future__ import annotations

import argparse
import os
import sqlite3
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import orjson

from collector.baselines.fitting import Task, fit
from collector.baselines.recorded import as_data
from collector.errors import StoreError
from collector.store import StoreReader

_NICENESS = 10


def answers(request: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Fit the tasks of a request; a series that cannot be fitted is answered with the error."""
    with StoreReader(Path(request["store"])) as reader:
        for values in request["tasks"]:
            task = Task(*values)
            started = time.perf_counter()
            try:
                form, data = as_data(fit(reader, task, request["now_us"]))
            except (ArithmeticError, ValueError, np.linalg.LinAlgError, sqlite3.Error) as error:
                yield {"series": task.series, "error": f"{type(error).__name__}: {error}"}
            else:
                took_s = time.perf_counter() - started
                yield {"series": task.series, "form": form, "data": data, "took_s": took_s}


def main(arguments: Sequence[str] | None = None) -> int:
    """Answer the request on the input; 1 if the store cannot be read."""
    parser = argparse.ArgumentParser(
        prog="python -m collector.baselines.worker",
        description="Fit what is usual for each series. Started by `brinebell run` at night.",
        epilog='example: echo \'{"store": "brinebell.sqlite", "now_us": 0, "tasks": []}\' | '
        "python -m collector.baselines.worker",
    )
    parser.parse_args(arguments)
    os.nice(_NICENESS)
    try:
        for answer in answers(orjson.loads(sys.stdin.buffer.read())):
            sys.stdout.buffer.write(orjson.dumps(answer, option=orjson.OPT_SERIALIZE_NUMPY) + b"\n")
            sys.stdout.buffer.flush()
    except StoreError as error:
        sys.stderr.write(f"{error}\n")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
