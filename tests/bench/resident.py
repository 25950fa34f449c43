"""Memory and start of the service, beside bare Python and the bare libraries, in one run.

python tests/bench/resident.py [--minutes 1] [--runs 5] [--mirror]

Starts a private mosquitto and `brinebell run` on a configuration of eight series with the page on,
publishes every series once a second, and sums the proportional set size (PSS) of the service and its
children from /proc; with --mirror all of it is sent to a private victoria-metrics, too. Import times are of
fresh interpreters with a warm byte-code cache.
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
from pathlib import Path

from collector.store import StoreReader
from tests.broker import Mosquitto, free_port
from tests.database.servers import Victoria

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


def configuration(folder: Path, broker_port: int, page_port: int, database: str) -> str:
    series = "".join(
        f'[tanks.reef.series.{name}]\nquantity = "{quantity}"\ngap = "5 min"\n'
        for name, quantity, _ in SERIES
    )
    return f"""
[service]
folder = "{folder / "data"}"
[mqtt]
port = {broker_port}
[page]
listen = "127.0.0.1:{page_port}"
{database}
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
    found, todo = [], [root]
    while todo:
        pid = todo.pop()
        found.append(pid)
        children = Path(f"/proc/{pid}/task/{pid}/children")
        todo += [int(child) for child in children.read_text().split()] if children.exists() else []
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


def service(minutes: float, *, is_mirrored: bool) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        broker = Mosquitto(folder / "broker")
        broker.start()
        path = folder / "brinebell.toml"
        page_port = free_port()
        victoria = Victoria(folder / "victoria") if is_mirrored else None
        database = ""
        if victoria is not None:
            victoria.start()
            database = f'[database]\naddress = "{victoria.address}"'
        path.write_text(configuration(folder, broker.port, page_port, database))
        started = time.perf_counter()
        process = subprocess.Popen([sys.executable, "-m", "collector", "run", "--config", str(path)])
        try:
            first = None
            end = time.monotonic() + minutes * 60
            step = 0
            while time.monotonic() < end:
                for series, _, text in SERIES:
                    value = float(text.split()[0]) + 0.01 * (step % 7)
                    broker.publish(f"boards/{series}", f"{value:.2f}")
                if first is None and (folder / "data" / "brinebell.sqlite").exists():
                    with StoreReader(folder / "data" / "brinebell.sqlite") as reader:
                        if reader.latest():
                            first = time.perf_counter() - started
                step += 1
                time.sleep(1.0)
            subprocess.run(
                [
                    sys.executable,
                    "-c",
                    f"import urllib.request as u; u.urlopen('http://127.0.0.1:{page_port}/')",
                ],
                check=True,
            )
            sizes = [pss_mb(pid) for pid in family(process.pid)]
            print(f"service: {sum(sizes):.1f} MB PSS in {len(sizes)} process(es) after {minutes:g} min")
            print(f"service: {first or float('nan'):.1f} s to the first reading in its store (+/- 1.2 s)")
        finally:
            process.send_signal(signal.SIGTERM)
            process.wait(20)
            broker.stop()
            if victoria is not None:
                victoria.stop()


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--minutes", type=float, default=1.0)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--mirror", action="store_true")
    options = parser.parse_args()
    for name, code in IMPORTS.items():
        seconds, megabytes = import_seconds(code, options.runs)
        print(f"{name}: {seconds:.2f} s, {megabytes:.1f} MB peak")
    service(options.minutes, is_mirrored=options.mirror)


if __name__ == "__main__":
    main()
