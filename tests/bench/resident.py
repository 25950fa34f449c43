"""Memory, processor time at rest and start of the service, beside bare Python and libraries, in one run.

python -m tests.bench.resident [--minutes 1] [--runs 5] [--mirror] [--ring]

Starts a private mosquitto and `brinebell run` on a configuration of eight series with the page on,
publishes every series once a second, and sums the proportional set size (PSS) of the service and its
children from /proc, and the processor time that they took once started. With --mirror all of it is sent to a
private victoria-metrics, too; with --ring the water gets too warm every minute, urgently, and somebody is
told over HTTP. Beside it, on the same broker, the least that stores the same: paho-mqtt and one SQLite
transaction a second. Pages of files that other programs use at the same time count in part only: for
memory, let no other Python run. Import times are of fresh interpreters with a warm byte-code cache.
"""

from __future__ import annotations

import argparse
import os
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from contextlib import ExitStack, suppress
from pathlib import Path
from typing import NamedTuple

from collector.store import StoreReader
from tests.broker import Mosquitto, free_port
from tests.database.servers import Victoria
from tests.delivery.receivers import WebReceiver

SERIES = (
    ("temperature", "temperature", "26 degC"),
    ("sump_temperature", "temperature", "26 degC"),
    ("room", "temperature", "21 degC"),
    ("ph", "ph", "8.2 pH"),
    ("conductivity", "conductivity", "53 mS/cm"),
    ("reservoir", "volume", "30 L"),
    ("level", "water_level", "22 cm"),
    ("heater_power", "power", "120 W"),
)
IMPORTS = {
    "bare Python": "pass",
    "bare libraries": "import sqlite3, paho.mqtt.client, orjson, numpy, pydantic_settings, uvicorn, "
    "starlette.applications, starlette.routing, jinja2",
    "`brinebell run` up to serving": "import collector.commands.run, collector.settings, collector.service, "
    "collector.pages",
}


# The peak of this program alone: what getrusage tells began before the interpreter replaced its parent.
_PEAK = """
for line in open("/proc/self/status"):
    if line.startswith("VmHWM"):
        print(line.split()[1])
"""


# The least that a service can do: hear eight messages a second, and make them durable once a second.
LEAST = """
import queue, sqlite3, sys, time
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
found = queue.SimpleQueue()
store = sqlite3.connect(sys.argv[2])
store.execute("PRAGMA journal_mode=WAL")
store.execute("PRAGMA synchronous=FULL")
store.execute("CREATE TABLE readings(series TEXT, at REAL, value REAL)")
client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
client.on_connect = lambda one, *_: one.subscribe("boards/+", 1)
client.on_message = lambda _one, _data, heard: found.put((heard.topic, time.time(), float(heard.payload)))
client.connect("127.0.0.1", int(sys.argv[1]))
client.loop_start()
while True:
    time.sleep(1)
    with store:
        rows = [found.get() for _ in range(found.qsize())]
        store.executemany("INSERT INTO readings VALUES (?, ?, ?)", rows)
"""
# The water is too warm for the first ten seconds of every minute.
LIMIT = 'alarm_high = "27 degC"\non_delay = "0 s"\noff_delay = "0 s"\npriority = "urgent"\n'
START_S = 20.0


def configuration(folder: Path, broker_port: int, page_port: int, *, database: str, is_rung: bool) -> str:
    series = "".join(
        f'[tanks.reef.series.{name}]\nquantity = "{quantity}"\ngap = "5 min"\n'
        + (LIMIT if is_rung and name == "temperature" else "")
        for name, quantity, _ in SERIES
    )
    told = '[people.keeper]\nnight = ["00:00", "00:00"]\n[telling]\ntest_ring = "never"\n' if is_rung else ""
    return f"""
[service]
folder = "{folder / "data"}"
[mqtt]
port = {broker_port}
[page]
listen = "127.0.0.1:{page_port}"
{database}
{told}
[tanks.reef]
equipment = ["heater"]
{series}
[[sources]]
topic = "boards/+"
format = "number"
tank = "reef"
series = "{{1}}"
"""


def family(root: int) -> list[int]:
    """A process and what it has started, from whichever thread."""
    found, todo = [], [root]
    while todo:
        pid = todo.pop()
        found.append(pid)
        for children in Path("/proc").glob(f"{pid}/task/*/children"):
            with suppress(OSError):
                todo += [int(child) for child in children.read_text().split()]
    return found


def pss_mb(pid: int) -> float:
    for line in Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines():
        if line.startswith("Pss:"):
            return int(line.split()[1]) / 1024
    raise RuntimeError(f"/proc/{pid}/smaps_rollup has no Pss line")


def import_seconds(code: str, runs: int) -> tuple[float, float]:
    """Median wall seconds and peak megabytes of an interpreter that runs `code`."""
    seconds, megabytes = [], []
    environment = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    for _ in range(runs + 1):
        start = time.perf_counter()
        done = subprocess.run(
            [sys.executable, "-c", f"{code}\n{_PEAK}"],
            env=environment,
            capture_output=True,
            text=True,
            check=True,
        )
        seconds.append(time.perf_counter() - start)
        megabytes.append(int(done.stdout) / 1024)
    return statistics.median(seconds[1:]), statistics.median(megabytes[1:])


class Use(NamedTuple):
    """What a program and its children take up: megabytes of PSS, seconds of processor time, processes."""

    mb: float
    cpu_s: float
    processes: int


def cpu_s(pid: int) -> float:
    """Processor time of a process and of those of its children that have ended."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return sum(map(int, fields[11:15])) / os.sysconf("SC_CLK_TCK")


def use_of(root: int) -> Use:
    mb, seconds, processes = 0.0, 0.0, 0
    for pid in family(root):
        # It may have ended since.
        with suppress(OSError):
            mb, seconds, processes = mb + pss_mb(pid), seconds + cpu_s(pid), processes + 1
    return Use(mb, seconds, processes)


def service(minutes: float, *, is_mirrored: bool, is_rung: bool) -> None:
    with tempfile.TemporaryDirectory() as name, ExitStack() as open_until_the_end:
        folder = Path(name)
        broker = Mosquitto(folder / "broker")
        broker.start()
        open_until_the_end.callback(broker.stop)
        database, environment = "", dict(os.environ)
        if is_mirrored:
            victoria = Victoria(folder / "victoria")
            victoria.start()
            open_until_the_end.callback(victoria.stop)
            database = f'[database]\naddress = "{victoria.address}"'
        phone = open_until_the_end.enter_context(WebReceiver())
        if is_rung:
            environment["BRINEBELL_PEOPLE__KEEPER__URLS"] = phone.url
        path, page_port = folder / "brinebell.toml", free_port()
        path.write_text(configuration(folder, broker.port, page_port, database=database, is_rung=is_rung))
        started = time.monotonic()
        process = subprocess.Popen(
            [sys.executable, "-m", "collector", "run", "--config", str(path)], env=environment
        )
        open_until_the_end.callback(process.wait, 20)
        open_until_the_end.callback(process.send_signal, signal.SIGTERM)
        least = subprocess.Popen(
            [sys.executable, "-c", LEAST, str(broker.port), str(folder / "least.sqlite")]
        )
        open_until_the_end.callback(least.kill)
        store, first, step, at_rest = folder / "data" / "brinebell.sqlite", None, 0, None
        greatest = Use(0.0, 0.0, 0)
        while (now := time.monotonic()) < started + minutes * 60:
            for series, _, text in SERIES:
                is_hot = series == "temperature" and is_rung and time.time() % 60 < 10
                value = float(text.split()[0]) + 0.01 * (step % 7) + 2.0 * is_hot
                broker.publish(f"boards/{series}", f"{value:.2f}")
            if first is None and store.exists():
                with StoreReader(store) as reader:
                    first = time.monotonic() - started if reader.latest() else None
            if at_rest is None and now > started + START_S:
                # As a reader of the page would: once.
                code = f"import urllib.request as u; u.urlopen('http://127.0.0.1:{page_port}/')"
                subprocess.run([sys.executable, "-c", code], check=True)
                at_rest = (time.monotonic(), use_of(process.pid), use_of(least.pid))
            step += 1
            # The sender process lives for seconds only.
            for _ in range(4):
                greatest = max(greatest, use_of(process.pid))
                time.sleep(0.25)
        now_used, least_used = use_of(process.pid), use_of(least.pid)
        print(f"service: {now_used.mb:.1f} MB PSS in {now_used.processes} process(es) after {minutes:g} min")
        print(f"service: {greatest.mb:.1f} MB PSS in {greatest.processes} process(es) at most")
        print(f"service: {first or float('nan'):.1f} s to the first reading in its store (+/- 1.2 s)")
        if at_rest is not None:
            since, ours, theirs = at_rest
            share = 100 / (time.monotonic() - since)
            ours_percent = (now_used.cpu_s - ours.cpu_s) * share
            least_percent = (least_used.cpu_s - theirs.cpu_s) * share
            print(f"service: {ours_percent:.2f} % of one core, the least {least_percent:.2f} %")
        if is_rung:
            print(f"service: rang {len(phone.rings)} times")


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--minutes", type=float, default=1.0)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--mirror", action="store_true")
    parser.add_argument("--ring", action="store_true")
    options = parser.parse_args()
    for name, code in IMPORTS.items():
        seconds, megabytes = import_seconds(code, options.runs)
        print(f"{name}: {seconds:.2f} s, {megabytes:.1f} MB peak")
    service(options.minutes, is_mirrored=options.mirror, is_rung=options.ring)


if __name__ == "__main__":
    main()
