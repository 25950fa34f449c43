"""What the pages weigh and how soon they come, beside a bare page of the same server.

    python tests/bench/pages.py [--runs 200]

Fills a store with eight series of fifty hours, one reading every ten seconds, serves it as the service
does, and asks over one kept connection, as a browser does. The reference is `/static/bell.svg` of that
server in the same run: routing, guard, door and socket, without a page. Weight is what a browser fetches
for the page that shows now, uncompressed, as it is sent. Log-in is timed with the right password and with
wrong ones: they must not differ.
"""

from __future__ import annotations

import argparse
import http.client
import re
import statistics
import tempfile
import time
from pathlib import Path
from urllib.parse import urlencode

from collector.configuration import PageConfiguration
from collector.pages import Answers, PagesServer, serve_in_thread
from collector.passwords import hashed, is_password
from collector.store import RequestBox, Store, StoreReader
from rules import WeekProfile
from tests.pages import tank
from tests.pages.conftest import standing_clock
from tests.pages.test_answering import LINKS
from tests.pages.test_now import Fit

REFERENCE = "/static/bell.svg"
PATHS = ("/", "/now.json", "/incidents", "/incidents/1", "/series/reef/temperature", "/care")
PASSWORD = "a password for a bench"


def first_byte_ms(connection: http.client.HTTPConnection, path: str) -> tuple[float, int]:
    """How long until the answer begins, and how many bytes its body has."""
    began = time.perf_counter()
    connection.request("GET", path)
    answer = connection.getresponse()
    took = time.perf_counter() - began
    return 1e3 * took, len(answer.read())


def quartiles(values: list[float]) -> str:
    low, middle, high = statistics.quantiles(values, n=4)
    return f"{middle:7.1f} ms ({low:.1f} to {high:.1f})"


def serve(path: Path, folder: Path, page: PageConfiguration) -> PagesServer:
    profile = WeekProfile("Europe/Madrid", ((25.4,) * 96,), (0.2,) * 96, 0.993, "day", 0.4, 28, tank.NOW)
    usual = {index: Fit(profile) for index in range(7)}
    return serve_in_thread(
        tank.configuration(folder, page=page),
        lambda: StoreReader(path),
        standing_clock(),
        usual=lambda: usual,
        answers=Answers(LINKS, lambda: RequestBox(path)),
        messages=lambda: (),
    )


def weigh(address: str) -> int:
    """Bytes that a browser fetches for the page that shows now: itself and what it names."""
    host = address.removeprefix("http://")
    connection = http.client.HTTPConnection(host)
    total, waiting, seen = 0, ["/"], set()
    while waiting:
        path = waiting.pop()
        if path in seen:
            continue
        seen.add(path)
        connection.request("GET", path)
        answer = connection.getresponse()
        body = answer.read()
        head = sum(len(key) + len(value) + 4 for key, value in answer.getheaders())
        print(f"  {path:32} {len(body):7} bytes, head {head}")
        total += len(body) + head
        if path == "/":
            waiting += re.findall(r'(?:src|href)="(/static/[^"]+)"', body.decode())
    connection.close()
    return total


def log_ins(runs: int) -> None:
    """Right and wrong passwords, by the function that judges them: its time is all that differs."""
    known = hashed(PASSWORD)
    tries: dict[str, str] = {
        "right": PASSWORD,
        "wrong at the first letter": "b" + PASSWORD[1:],
        "wrong at the last letter": PASSWORD[:-1] + "i",
        "empty": "",
        "too long": "x" * 4000,
    }
    took: dict[str, list[float]] = {name: [] for name in tries}
    for _ in range(runs):
        for name, text in tries.items():
            began = time.perf_counter()
            is_password(text, known)
            took[name].append(1e3 * (time.perf_counter() - began))
    reference = statistics.median(took["right"])
    for name, values in took.items():
        print(
            f"  {name:32} {quartiles(values)}, {statistics.median(values) / reference:.2f} of the right one"
        )


def timed(runs: int, address: str) -> None:
    connection = http.client.HTTPConnection(address.removeprefix("http://"))
    reference: list[float] = []
    took: dict[str, list[float]] = {path: [] for path in PATHS}
    first: dict[str, float] = {}
    for run in range(runs):
        reference.append(first_byte_ms(connection, REFERENCE)[0])
        for path in PATHS:
            value = first_byte_ms(connection, path)[0]
            if run == 0:
                first[path] = value
            else:
                took[path].append(value)
    print(f"  {REFERENCE:32} {quartiles(reference)}")
    for path in PATHS:
        ratio = statistics.median(took[path]) / statistics.median(reference)
        print(f"  {path:32} {quartiles(took[path])}, {ratio:.1f} times that; the first {first[path]:.0f} ms")
    connection.close()


def over_http(address: str) -> None:
    """One log-in over HTTP, whole: what a person waits for."""
    connection = http.client.HTTPConnection(address.removeprefix("http://"))
    body = urlencode({"password": PASSWORD})
    headers = {"origin": address, "content-type": "application/x-www-form-urlencoded"}
    took = []
    for _ in range(10):
        began = time.perf_counter()
        connection.request("POST", "/log-in", body, headers)
        answer = connection.getresponse()
        answer.read()
        took.append(1e3 * (time.perf_counter() - began))
    print(f"  {'a log-in over HTTP':32} {quartiles(took)}")
    connection.close()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=200)
    runs = parser.parse_args().runs
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        configuration = tank.configuration(folder)
        path = configuration.store.path
        with Store(path) as store:
            store.register(configuration.series)
            tank.fill(store, configuration, hours=50, every_us=10 * tank.SECOND, value=tank.cooling)
            tank.raise_heater_incident(store, path)
            with serve(path, folder, PageConfiguration(port=0)) as server:
                print("weight of the page that shows now")
                print(f"  {'in all':32} {weigh(server.address):7} bytes")
                print("first byte")
                timed(runs, server.address)
            page = PageConfiguration(port=0, password_hash=hashed(PASSWORD))
            with serve(path, folder, page) as server:
                print("log-in")
                over_http(server.address)
    log_ins(max(3, runs // 10))


if __name__ == "__main__":
    main()
