"""The service's side of the fitting process: starts it at night, waits beside the service, hears its answers.

A fit that fails, takes too long or is cut off leaves what is in force as it is, and is said.
"""

from __future__ import annotations

import logging
import os
import subprocess
import sys
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeAlias

import orjson

from collector.learning.recorded import Fitted, FittedHeat, from_data, heat_from_data
from collector.learning.tasks import Tasks

_LOG = logging.getLogger(__name__)

# Some series cost tenths of a second each, on a Pi some seconds, and a Pi may be busy.
TIMEOUT_S = 600.0


@dataclass(frozen=True, slots=True)
class Fits:
    """What came of a fit: outcomes by index of the series and by tank, and why others could not be fitted."""

    fitted_us: int
    found: Mapping[int, Fitted]
    errors: Mapping[int, str]
    models: Mapping[str, FittedHeat] = field(default_factory=dict)
    model_errors: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Failed:
    """The fit as a whole came to nothing."""

    reason: str


Outcome: TypeAlias = Fits | Failed


def worker_command() -> Sequence[str]:
    """The command that starts a fitting process."""
    return (sys.executable, "-m", "collector.learning.worker")


def request_of(store: Path, tasks: Tasks, now_us: int) -> bytes:
    """What the fitting process is told."""
    series, tanks = ([list(task) for task in some] for some in tasks)
    return orjson.dumps({"store": str(store), "now_us": now_us, "series": series, "tanks": tanks})


class Refit:
    """One fit, made in a process of its own and waited for by a thread.

    Parameters
    ----------
    store
        Path of the store.
    tasks
        What to fit.
    now_us
        Tank time as of which to fit.
    command
        What to start.
    timeout_s
        After how long it is ended.
    """

    def __init__(
        self,
        store: Path,
        tasks: Tasks,
        now_us: int,
        *,
        command: Sequence[str] | None = None,
        timeout_s: float = TIMEOUT_S,
    ) -> None:
        self._request = request_of(store, tasks, now_us)
        self._now_us = now_us
        self._timeout_s = timeout_s
        self._outcome: Outcome | None = None
        kept = {name: value for name, value in os.environ.items() if not name.startswith("BRINEBELL")}
        # One thread is as fast for tables of this size, and a Pi has other things to do.
        kept |= dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
        # A session of its own: Ctrl-C is for the service.
        self._process = subprocess.Popen(
            command or worker_command(),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env=kept,
            start_new_session=True,
        )
        self._thread = threading.Thread(target=self._wait, name="learning", daemon=True)
        self._thread.start()

    @property
    def pid(self) -> int:
        """Its process id."""
        return self._process.pid

    @property
    def outcome(self) -> Outcome | None:
        """What came of it; None while it runs."""
        return self._outcome

    def join(self) -> Outcome:
        """Wait for the outcome."""
        self._thread.join()
        if self._outcome is None:
            raise AssertionError("the waiting thread ends with an outcome")
        return self._outcome

    def close(self) -> None:
        """End it, if it still runs."""
        self._process.kill()
        self._thread.join()

    def _wait(self) -> None:
        try:
            said, complaints = self._process.communicate(self._request, self._timeout_s)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.communicate()
            self._outcome = Failed(f"it was not done after {self._timeout_s:g} s")
        else:
            self._outcome = self._understand(said, complaints)

    def _understand(self, said: bytes, complaints: bytes) -> Outcome:
        status = self._process.returncode
        if status != 0:
            last = complaints.decode(errors="replace").strip().splitlines()[-1:] or ["nothing said"]
            return Failed(f"the fitting process ended with {status}: {last[0]}")
        found: dict[int, Fitted] = {}
        errors: dict[int, str] = {}
        models: dict[str, FittedHeat] = {}
        model_errors: dict[str, str] = {}
        try:
            for line in said.splitlines():
                answer = orjson.loads(line)
                if "tank" in answer:
                    tank = str(answer["tank"])
                    if "error" in answer:
                        model_errors[tank] = str(answer["error"])
                    elif (heat := heat_from_data(answer["form"], answer["data"])) is not None:
                        models[tank] = heat
                elif "error" in answer:
                    errors[answer["series"]] = str(answer["error"])
                elif (fitted := from_data(answer["form"], answer["data"])) is not None:
                    found[answer["series"]] = fitted
        except (ValueError, KeyError, TypeError) as error:
            return Failed(f"the fitting process gave an answer that cannot be read: {error!r}")
        return Fits(self._now_us, found, errors, models, model_errors)


def fit_in_worker(store: Path, tasks: Tasks, now_us: int) -> Outcome:
    """Fit in a process of its own and wait for it."""
    return Refit(store, tasks, now_us).join()
