"""How fast and how soon readings are stored: the service's loop against the simplest honest one.

The reference is paho, JSON, one SQLite transaction with synchronous=FULL as soon as the committer is free,
and an acknowledgement for each message after it: no units, flags, rules, rollups or redelivery. Both
speak the same version of MQTT with the same receive maximum to the same private mosquitto, take turns,
and get the same payloads from a publisher that is never the limit.

    python tests/bench/intake.py [--runs 3] [--count 30000] [--rate 500] [--seconds 8] [--versions 3.1.1,5]

Prints, for each version of MQTT: messages a second of a burst, and milliseconds from publication to
durable commit at a steady rate (median and 99th percentile), for both, and their ratio or difference.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import socket
import sqlite3
import statistics
import struct
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

SERIES = 6
RECEIVE_MAXIMUM = 1000
BROKER = """
listener {port} 127.0.0.1
allow_anonymous true
log_type error
max_queued_messages 0
max_queued_bytes 0
max_inflight_messages 1000
set_tcp_nodelay true
persistence false
"""


# -- the publisher: packets made beforehand, written in large pieces --------------------------------


def _length(number: int) -> bytes:
    out = bytearray()
    while True:
        byte, number = number & 0x7F, number >> 7
        out.append(byte | (0x80 if number else 0))
        if not number:
            return bytes(out)


def _packet(number: int, time_us: int) -> bytes:
    topic = b"bench/board%d/reading" % (number % SERIES)
    payload = b'{"time":%d,"value":%.4f,"unit":"degC"}' % (time_us, 25.0 + number % 97 * 0.01)
    body = struct.pack("!H", len(topic)) + topic + struct.pack("!H", number % 65535 + 1) + payload
    return b"\x32" + _length(len(body)) + body


def publish(port: int, count: int, rate: float) -> None:
    """Publish with quality of service 1, all at once or at a steady rate."""
    connection = socket.create_connection(("127.0.0.1", port))
    connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    name = b"publisher"
    connection.sendall(
        b"\x10"
        + bytes([12 + len(name)])
        + b"\x00\x04MQTT\x04\x02\x00\x00"
        + struct.pack("!H", len(name))
        + name
    )
    connection.recv(64)
    finished = threading.Event()

    def drain() -> None:
        heard = 0
        while heard < 4 * count:
            data = connection.recv(1 << 18)
            if not data:
                break
            heard += len(data)
        finished.set()

    threading.Thread(target=drain, daemon=True).start()
    if rate:
        begun = time.monotonic() + 0.05
        sent = 0
        while sent < count:
            due = min(count, int((time.monotonic() - begun) * rate) + 1)
            if due <= sent:
                time.sleep(max(0.0, begun + sent / rate - time.monotonic()))
                continue
            now_us = time.time_ns() // 1000
            connection.sendall(
                b"".join(_packet(number, now_us + number - sent) for number in range(sent, due))
            )
            sent = due
    else:
        base_us = time.time_ns() // 1000
        pieces = [
            b"".join(_packet(number, base_us + number) for number in range(first, min(first + 1000, count)))
            for first in range(0, count, 1000)
        ]
        print(json.dumps({"begun": time.time()}), flush=True)
        for piece in pieces:
            connection.sendall(piece)
    finished.wait(120)
    connection.close()


# -- the reference ----------------------------------------------------------------------------------


def reference(port: int, version: str, folder: str, count: int) -> None:
    """Take in `count` messages as simply as may be; print when each was durable."""
    import orjson
    import paho.mqtt.client as mqtt
    from paho.mqtt.packettypes import PacketTypes
    from paho.mqtt.properties import Properties

    store = sqlite3.connect(Path(folder) / "reference.sqlite", isolation_level=None, check_same_thread=False)
    store.execute("PRAGMA journal_mode = WAL")
    store.execute("PRAGMA synchronous = FULL")
    store.execute(
        "CREATE TABLE readings(series INTEGER, time_us INTEGER, value REAL, flag INTEGER,"
        " PRIMARY KEY(series, time_us)) WITHOUT ROWID"
    )
    is_v5 = version == "5"
    settings = {"protocol": mqtt.MQTTv5} if is_v5 else {"clean_session": False}
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, "reference", manual_ack=True, **settings)
    series: dict[str, int] = {}
    pending: list[tuple[int, int, int, float]] = []
    marks: list[tuple[float, int]] = []
    wake, done = threading.Event(), threading.Event()

    def on_message(_client: object, _data: object, message: mqtt.MQTTMessage) -> None:
        values = orjson.loads(message.payload)
        topic = message.topic
        index = series.get(topic)
        if index is None:
            index = series[topic] = len(series) + 1
        pending.append((message.mid, index, values["time"], values["value"]))
        wake.set()

    def commit() -> None:
        total = 0
        while total < count:
            wake.wait(1)
            wake.clear()
            taken = len(pending)
            if not taken:
                continue
            batch = pending[:taken]
            del pending[:taken]
            store.execute("BEGIN")
            store.executemany("INSERT OR IGNORE INTO readings VALUES(?, ?, ?, 1)", [row[1:] for row in batch])
            store.execute("COMMIT")
            now = time.time()
            for row in batch:
                client.ack(row[0], 1)
            marks.append((now, taken))
            latencies.extend(now - row[2] / 1e6 for row in batch)
            total += taken
        done.set()

    latencies: list[float] = []
    client.on_message = on_message
    client.on_subscribe = lambda *_: print("READY", flush=True)
    client.on_connect = lambda one, *_: one.subscribe("bench/#", 1)
    if is_v5:
        properties = Properties(PacketTypes.CONNECT)
        properties.ReceiveMaximum = RECEIVE_MAXIMUM
        properties.SessionExpiryInterval = 3600
        client.connect("127.0.0.1", port, clean_start=False, properties=properties)
    else:
        client.connect("127.0.0.1", port)
    committer = threading.Thread(target=commit, daemon=True)
    committer.start()
    cpu_from_s = time.process_time()
    client.loop_start()
    done.wait(120)
    cpu_s = time.process_time()
    time.sleep(0.2)
    client.disconnect()
    client.loop_stop()
    stored = store.execute("SELECT count(*) FROM readings").fetchone()[0]
    report(marks, latencies, stored, cpu_from_s, cpu_s)


# -- ours -------------------------------------------------------------------------------------------

SETTINGS = """
[service]
folder = "data"
commit_interval = "{interval}"
[mqtt]
port = {port}
client_id = "ours"
receive_maximum = {receive_maximum}
[page]
enabled = false
[tanks.bench]
equipment = ["heater"]
{series}
[[sources]]
topic = "bench/+/reading"
format = "json"
tank = "bench"
values = {{ "/value" = "{{1}}" }}
time = "/time"
time_format = "unix_us"
"""
# As the example configuration has it, so that every test and alarm runs.
ONE_SERIES = """
[tanks.bench.series.board{number}]
quantity = "temperature"
sensor_range = ["-5 degC", "60 degC"]
usual_range = ["15 degC", "35 degC"]
spike = {{ suspect = "1.5 degC", fail = "2 degC" }}
rate_of_change = "1e12 degC/h"
flat_line = {{ tolerance = "0.001 degC", suspect_after = "4 h", fail_after = "8 h" }}
gap = "15 min"
alarm_low = "24 degC"
alarm_high = "27.5 degC"
danger_low = "21 degC"
danger_high = "30 degC"
"""


def ours(port: int, version: str, folder: str, count: int) -> None:
    """Run the service itself; a store that notes when each commit returned is all that is put in between."""
    from contextlib import ExitStack

    from collector.clock import Clock
    from collector.service import Service
    from collector.settings import load_configuration
    from collector.store import Store

    series = "".join(ONE_SERIES.format(number=number) for number in range(SERIES))
    path = Path(folder) / "brinebell.toml"
    path.write_text(
        SETTINGS.format(port=port, interval="0 s", receive_maximum=RECEIVE_MAXIMUM, series=series)
    )
    configuration = load_configuration(path, {})
    with Store(configuration.store.path) as store:
        store.set_note(f"mqtt protocol 127.0.0.1:{port}", version)
    marks: list[tuple[float, int]] = []
    latencies: list[float] = []
    total = 0
    cpu_from_s = cpu_s = 0.0
    with ExitStack() as stack:
        service = Service(configuration, Clock(), stack)
        commit = service._store.commit

        def noted(batch):  # type: ignore[no-untyped-def]
            nonlocal total, cpu_from_s, cpu_s
            done = commit(batch)
            now = time.time()
            if batch.rows:
                marks.append((now, len(batch.rows)))
                latencies.extend(now - row[1] / 1e6 for row in batch.rows)
                total += len(batch.rows)
                if total >= count:
                    cpu_s = time.process_time()
                    threading.Timer(0.2, service.stop).start()
            elif batch.engine_us is not None and not total:
                cpu_from_s = time.process_time()
                print("READY", flush=True)
            return done

        service._store.commit = noted  # type: ignore[method-assign]
        service.run()
    with sqlite3.connect(configuration.store.path) as connection:
        stored = connection.execute("SELECT count(*) FROM readings").fetchone()[0]
    report(marks, latencies, stored, cpu_from_s, cpu_s)


# -- both -------------------------------------------------------------------------------------------


def report(
    marks: list[tuple[float, int]], latencies: list[float], stored: int, cpu_from_s: float, cpu_s: float
) -> None:
    """Print what a run measured, as JSON."""
    latencies.sort()
    print(
        json.dumps(
            {
                "ended": marks[-1][0],
                "p50": 1e3 * latencies[len(latencies) // 2],
                "p99": 1e3 * latencies[int(len(latencies) * 0.99)],
                "commits": len(marks),
                "stored": stored,
                "cpu": 1e6 * (cpu_s - cpu_from_s) / stored,
            }
        ),
        flush=True,
    )


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def start(role: str, *options: str) -> subprocess.Popen[str]:
    """Start this program in a role of its own process."""
    command = [sys.executable, __file__, "--role", role, *options]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)


def one_run(who: str, version: str, count: int, rate: float) -> dict[str, float]:
    """Run one of both against a broker of its own."""
    exe = shutil.which("mosquitto", path=os.environ.get("PATH", "") + ":/usr/sbin") or "mosquitto"
    with tempfile.TemporaryDirectory(prefix="bench-intake-") as folder:
        port = free_port()
        (Path(folder) / "broker.conf").write_text(BROKER.format(port=port))
        broker = subprocess.Popen([exe, "-c", f"{folder}/broker.conf"], stderr=subprocess.DEVNULL)
        try:
            end = time.monotonic() + 10
            while time.monotonic() < end:
                try:
                    socket.create_connection(("127.0.0.1", port)).close()
                    break
                except OSError:
                    time.sleep(0.05)
            common = ["--port", str(port), "--count", str(count)]
            taker = start(who, *common, "--version", version, "--folder", folder)
            assert taker.stdout is not None
            assert taker.stdout.readline().strip() == "READY"
            publisher = start("publisher", *common, "--rate", str(rate))
            out, _ = taker.communicate(timeout=180)
            told, _ = publisher.communicate(timeout=30)
        finally:
            broker.terminate()
            broker.wait(10)
    result: dict[str, float] = json.loads(out.strip().splitlines()[-1])
    assert result["stored"] == count, f"{who} lost {count - result['stored']}"
    if told:
        result["rate"] = count / (result["ended"] - json.loads(told)["begun"])
    return result


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--count", type=int, default=30_000)
    parser.add_argument("--rate", type=float, default=500.0)
    parser.add_argument("--seconds", type=float, default=8.0)
    parser.add_argument("--versions", default="3.1.1,5")
    parser.add_argument("--json", type=Path)
    parser.add_argument("--role", help=argparse.SUPPRESS)
    parser.add_argument("--port", type=int, help=argparse.SUPPRESS)
    parser.add_argument("--version", help=argparse.SUPPRESS)
    parser.add_argument("--folder", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.role == "publisher":
        publish(options.port, options.count, options.rate)
        return
    if options.role:
        {"reference": reference, "ours": ours}[options.role](
            options.port, options.version, options.folder, options.count
        )
        return
    rows = []
    for version in options.versions.split(","):
        runs: dict[str, list[tuple[dict[str, float], dict[str, float]]]] = {"reference": [], "ours": []}
        for _ in range(options.runs):
            for who, found in runs.items():
                burst = one_run(who, version, options.count, 0.0)
                steady = one_run(who, version, int(options.rate * options.seconds), options.rate)
                found.append((burst, steady))
        row = {"version": version}
        for who, found in runs.items():
            row[f"{who}_rate"] = statistics.median(burst["rate"] for burst, _ in found)
            row[f"{who}_p50"] = statistics.median(steady["p50"] for _, steady in found)
            row[f"{who}_p99"] = statistics.median(steady["p99"] for _, steady in found)
            spread = [burst["rate"] for burst, _ in found]
            print(
                f"MQTT {version:5} {who:9} {row[f'{who}_rate']:8,.0f} msg/s "
                f"({min(spread):,.0f} to {max(spread):,.0f}), at {options.rate:g}/s "
                f"p50 {row[f'{who}_p50']:.2f} ms, p99 {row[f'{who}_p99']:.2f} ms, "
                f"{statistics.median(burst['cpu'] for burst, _ in found):.0f} us CPU a message",
                flush=True,
            )
        print(
            f"MQTT {version:5} ours is {row['ours_rate'] / row['reference_rate']:.2f} of the reference in "
            f"a burst, p99 is {row['ours_p99'] - row['reference_p99']:+.2f} ms beside it",
            flush=True,
        )
        rows.append(row)
    if options.json:
        options.json.write_text(json.dumps(rows, indent=1))


if __name__ == "__main__":
    main()
