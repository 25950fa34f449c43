"""The fitting process: reads the store, fits series and tanks one after the other, and answers line by line.

It exists for some seconds a night, for it is the one process that holds statsmodels. Its input is one
JSON object, `store`, `now_us`, `series` and `tanks`; a line of its output is `series` or `tank` with `form`
and `data`, or with `error`. It writes nothing.
"""

from __future__ import annotations

import argparse
import os
import sqlite3
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import orjson

from collector.errors import StoreError
from collector.learning.fitting import Task, fit
from collector.learning.heat import TankTask, fit_heat
from collector.learning.recorded import Fitted, FittedHeat, as_data
from collector.store import StoreReader

_NICENESS = 10


def answers(request: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Fit what a request asks for; what cannot be fitted is answered with the error."""
    now_us = request["now_us"]
    with StoreReader(Path(request["store"])) as reader:
        for values in request["series"]:
            task = Task(*values)
            yield {"series": task.series, **_answer(partial(fit, reader, task, now_us))}
        for values in request["tanks"]:
            tank = TankTask(*values)
            yield {"tank": tank.tank, **_answer(partial(fit_heat, reader, tank, now_us))}


def _answer(fit_it: Callable[[], Fitted | FittedHeat]) -> dict[str, Any]:
    started = time.perf_counter()
    try:
        form, data = as_data(fit_it())
    except (ArithmeticError, ValueError, np.linalg.LinAlgError, sqlite3.Error) as error:
        return {"error": f"{type(error).__name__}: {error}"}
    return {"form": form, "data": data, "took_s": time.perf_counter() - started}


def main(arguments: Sequence[str] | None = None) -> int:
    """Answer the request on the input; 1 if the store cannot be read."""
    parser = argparse.ArgumentParser(
        prog="python -m collector.learning.worker",
        description="Fit what is usual for each series, and each tank's heat. `brinebell run` starts it.",
        epilog='example: echo \'{"store": "brinebell.sqlite", "now_us": 0, "series": [], "tanks": []}\' | '
        "python -m collector.learning.worker",
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
