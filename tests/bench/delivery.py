"""How long from a probe's publication to the phone: the real service, a real broker, a receiver beside them.

While a publisher sends `--rate` readings a second, one floor contact after another says wet; each is an
urgent alarm of its own. The reference, in the same run: a subscriber of the same broker that posts what it
hears over HTTP at once, with nothing judged, stored or retried. Each ring is timed twice: cold, when the
sender process has ended, and warm, when a ring just before has left it there.

    python -m tests.bench.delivery [--rings 20] [--rate 500]

Prints the median and 99th percentile of each in seconds. Run it on an idle machine.
"""

from __future__ import annotations

import argparse
import json
import statistics
import tempfile
import threading
import time
from pathlib import Path
from urllib.request import Request, urlopen

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from collector.delivery.worker import LINGER_S
from tests.broker import Mosquitto
from tests.delivery.receivers import WebReceiver
from tests.test_service import Service

SERIES = 6
SETTINGS = """
[service]
folder = "data"

[mqtt]
port = {port}

[page]
enabled = false

[tanks.reef]
time_zone = "UTC"
{series}
[[sources]]
topic = "load/#"
format = "json"
tank = "reef"
values = {{ {values} }}
time = "/time"
time_format = "unix_us"

[[sources]]
topic = "floor/+"
format = "number"
tank = "reef"
series = "{{1}}"
"""


def settings(port: int, rings: int) -> str:
    load = "".join(f'[tanks.reef.series.load_{n}]\nquantity = "temperature"\n' for n in range(SERIES))
    contact = 'quantity = "contact"\nalarm_state = "closed"\npriority = "urgent"\non_delay = "0 s"\n'
    contacts = "".join(f"[tanks.reef.series.contact_{n}]\n{contact}" for n in range(rings))
    values = ", ".join(f'"/v{n}" = "load_{n}"' for n in range(SERIES))
    return SETTINGS.format(port=port, series=load + contacts, values=values)


def client(port: int) -> Client:
    made = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
    made.connect("127.0.0.1", port)
    made.loop_start()
    return made


def load(port: int, rate: float, is_over: threading.Event) -> None:
    """Publish so many readings a second, six a message."""
    publisher = client(port)
    next_s = time.monotonic()
    while not is_over.is_set():
        values = {f"v{n}": 25.0 + (time.time() * 7 + n) % 1 * 0.1 for n in range(SERIES)}
        publisher.publish("load/all", json.dumps(values | {"time": time.time_ns() // 1000}), qos=1)
        next_s += SERIES / rate
        time.sleep(max(0.0, next_s - time.monotonic()))
    publisher.loop_stop()


def reference(port: int, phone: WebReceiver) -> Client:
    """The simplest way from the broker to the phone."""
    listener = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
    listener.on_connect = lambda one, *_: one.subscribe("floor/+", 1)

    def post(_client: Client, _data: object, message: object) -> None:
        body = json.dumps({"title": message.topic, "message": "wet"}).encode()
        urlopen(
            Request(f"http://127.0.0.1:{phone.port}/", body, {"Content-Type": "application/json"})
        ).close()

    listener.on_message = post
    listener.connect("127.0.0.1", port)
    listener.loop_start()
    return listener


def waited_s(phone: WebReceiver, count: int, since_s: float, patience_s: float = 60.0) -> float:
    """Wait for so many rings; return how long it took."""
    while len(phone.rings) < count:
        if time.monotonic() - since_s > patience_s:
            raise SystemExit(f"ring {count} did not come within {patience_s:.0f} s")
        time.sleep(0.001)
    return time.monotonic() - since_s


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--rings", type=int, default=20)
    parser.add_argument("--rate", type=float, default=500.0)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name, WebReceiver() as phone, WebReceiver() as plain:
        folder = Path(name)
        broker = Mosquitto(folder / "broker")
        broker.start()
        text = settings(broker.port, options.rings)
        service = Service(folder, broker.port, has_page=False, urls=phone.url, text=text)
        is_over = threading.Event()
        loader = threading.Thread(target=load, args=(broker.port, options.rate, is_over))
        listener = reference(broker.port, plain)
        try:
            service.until(service.is_live, 60)
            loader.start()
            floor = client(broker.port)
            for number in range(options.rings):
                floor.publish(f"floor/contact_{number}", "0", qos=1).wait_for_publish(10)
            time.sleep(15.0)
            plain_before = len(plain.rings)
            cold, warm, theirs = [], [], []
            for number in range(options.rings):
                since_s = time.monotonic()
                floor.publish(f"floor/contact_{number}", "1", qos=1)
                theirs.append(waited_s(plain, plain_before + number + 1, since_s))
                # The second of each pair finds the sender that the first one has started.
                (warm if number % 2 else cold).append(waited_s(phone, number + 1, since_s))
                print(f"\rring {number + 1} of {options.rings}", end="", flush=True)
                if number % 2:
                    time.sleep(LINGER_S + 1.0)
        finally:
            is_over.set()
            loader.join()
            listener.loop_stop()
            service.process.terminate()
            service.process.wait(20)
            broker.stop()
    print()
    for what, found in (("ours, cold", cold), ("ours, warm", warm), ("reference", theirs)):
        ordered = sorted(found)
        last = ordered[min(len(ordered) - 1, int(0.99 * len(ordered)))]
        print(f"{what}: p50 {statistics.median(found):.3f} s, p99 {last:.3f} s, n = {len(found)}")


if __name__ == "__main__":
    main()
