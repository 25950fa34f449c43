"""Does the service grow? Two of them soaked at once: at 50 readings a second, and a day in minutes.

python -m tests.bench.soak [--minutes 15] [--speed 96] [--rate 50]

Both are the real service with its page on, on eight series over a private mosquitto. The first runs as time
does. The clock of the second runs so many times as fast that 24 hours pass in the same minutes, with a
reading of each series a minute. Every five seconds: proportional set size of the service itself (children
that fit or draw come and go), its file handles, and the size of the store's log. Growth is the slope of a
straight line through the sizes of the last two thirds.
"""

from __future__ import annotations

import argparse
import math
import random
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

import numpy as np
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from tests.bench.resident import SERIES, configuration, pss_mb
from tests.broker import Mosquitto, free_port, mosquitto
from tests.test_crash import count, last_live_commit

START_US = 1_772_409_600_000_000
SAMPLE_S = 5.0
DAY_S = 86_400.0


class Sample(NamedTuple):
    """What the service holds at an instant, in seconds from the beginning."""

    at_s: float
    megabytes: float
    handles: int
    log_megabytes: float


class Soaked(NamedTuple):
    """What came of one service."""

    samples: tuple[Sample, ...]
    published: int
    stored: int

    @property
    def settled(self) -> tuple[Sample, ...]:
        """The last two thirds."""
        return self.samples[len(self.samples) // 3 :]

    @property
    def growth(self) -> float:
        """Megabytes a minute."""
        at_s, sizes = (np.array(column) for column in list(zip(*self.settled, strict=True))[:2])
        return float(np.polyfit(at_s / 60.0, sizes, 1)[0])

    @property
    def handles(self) -> int:
        """How many more handles there are at the end than at the beginning of the last two thirds."""
        return self.settled[-1].handles - self.settled[0].handles

    @property
    def log_megabytes(self) -> float:
        """The greatest size of the log."""
        return max(one.log_megabytes for one in self.samples)


class Life:
    """A service that is being soaked.

    Parameters
    ----------
    folder, broker
        Its own.
    command
        What starts it on a configuration.
    every_s
        Seconds from one round of readings to the next.
    """

    def __init__(self, folder: Path, broker: Mosquitto, command: list[str], every_s: float) -> None:
        path = folder / "brinebell.toml"
        path.write_text(configuration(folder, broker.port, free_port(), database="", is_rung=False))
        self.store = folder / "data" / "brinebell.sqlite"
        self.process = subprocess.Popen([sys.executable, *(part.format(path=path) for part in command)])
        self.published = 0
        self.samples: list[Sample] = []
        self._every_s = every_s
        self._stop = threading.Event()
        self._client = Client(CallbackAPIVersion.VERSION2)
        self._client.connect("127.0.0.1", broker.port)
        self._client.loop_start()
        self._thread = threading.Thread(target=self._publish)

    def begin(self) -> None:
        """Wait until it listens, and begin to publish."""
        until = time.monotonic() + 60.0
        while not (self.store.exists() and last_live_commit(self.store)):
            if self.process.poll() is not None or time.monotonic() > until:
                raise SystemExit("the service did not begin to listen")
            time.sleep(0.1)
        self._thread.start()

    def sample(self, at_s: float) -> None:
        """Take note of what it holds now."""
        pid = self.process.pid
        handles = len(list(Path(f"/proc/{pid}/fd").iterdir()))
        log = self.store.with_name(self.store.name + "-wal")
        self.samples.append(Sample(at_s, pss_mb(pid), handles, log.stat().st_size / 2**20))

    def end(self) -> Soaked:
        """Publish no more, wait until all is stored, and stop it."""
        self._stop.set()
        self._thread.join()
        until = time.monotonic() + 30.0
        while count(self.store) < self.published and time.monotonic() < until:
            time.sleep(0.2)
        self.process.send_signal(signal.SIGTERM)
        self.process.wait(30)
        self._client.disconnect()
        self._client.loop_stop()
        return Soaked(tuple(self.samples), self.published, count(self.store))

    def _publish(self) -> None:
        chance = random.Random(7)
        due_s = time.monotonic()
        for step in range(2**62):
            sent = []
            for name, _, text in SERIES:
                value = float(text.split()[0]) * (
                    1.0 + 0.004 * math.sin(step / 200.0) + chance.gauss(0, 0.0005)
                )
                sent.append(self._client.publish(f"boards/{name}", f"{value:.3f}", qos=1))
            for one in sent:
                one.wait_for_publish(20.0)
            self.published += len(sent)
            due_s += self._every_s
            if self._stop.wait(max(0.0, due_s - time.monotonic())):
                return


@contextmanager
def lives(folder: Path, rate: float, speed: float) -> Iterator[dict[str, Life]]:
    """Both services, listening."""
    fast = ["-m", "tests.telling.service_process", "{path}", str(speed), str(START_US)]
    commands = {
        f"{rate:g} readings a second": (["-m", "collector", "run", "--config", "{path}"], len(SERIES) / rate),
        f"{speed:g} times as fast": (fast, 60.0 / speed),
    }
    found = {}
    with mosquitto(folder / "one") as one, mosquitto(folder / "two") as two:
        for (name, (command, every_s)), broker in zip(commands.items(), (one, two), strict=True):
            (folder / name).mkdir()
            found[name] = Life(folder / name, broker, command, every_s)
        try:
            for life in found.values():
                life.begin()
            yield found
        finally:
            for life in found.values():
                if life.process.poll() is None:
                    life.process.kill()


def soak(minutes: float, rate: float, speed: float) -> dict[str, Soaked]:
    """What came of both."""
    with tempfile.TemporaryDirectory() as name, lives(Path(name), rate, speed) as found:
        begun_s = time.monotonic()
        while (at_s := time.monotonic() - begun_s) < 60.0 * minutes:
            for life in found.values():
                life.sample(at_s)
            time.sleep(SAMPLE_S)
        return {name: life.end() for name, life in found.items()}


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--minutes", type=float, default=15.0, help="how long (default 15)")
    parser.add_argument("--rate", type=float, default=50.0, help="readings a second of the first (50)")
    parser.add_argument("--speed", type=float, help="of the second; 24 h in these minutes if not given")
    options = parser.parse_args()
    speed = options.speed or DAY_S / (60.0 * options.minutes)
    print("| service | minutes | readings | stored | MB at 1/3 | MB at the end | MB/min | handles | log MB |")
    print("|---|---|---|---|---|---|---|---|---|")
    for name, one in soak(options.minutes, options.rate, speed).items():
        first, last = one.settled[0], one.settled[-1]
        print(
            f"| {name} | {options.minutes:g} | {one.published:,} | {one.stored:,} | {first.megabytes:.1f} "
            f"| {last.megabytes:.1f} | {one.growth:+.3f} | {one.handles:+d} | {one.log_megabytes:.1f} |"
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())
