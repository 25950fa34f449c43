"""Whoever may publish at the broker may be hostile: the real service, a real broker, a real browser.

Markup comes in by every door that there is: titles of the configuration, topics, payloads, unit texts, wills
of boards, requests with their notes. Nothing of it may run, load or become an element.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from collector.store import StoreReader
from tests.broker import Mosquitto, free_port, mosquitto
from tests.pages.test_browser import DESK, browser, requested_hosts, show, wait_for
from tests.pages.test_door import PASSWORD
from tests.test_passwords import CHEAP

pytestmark = [pytest.mark.browser, pytest.mark.broker]

MARKUP = "<script>hit=1</script><img src=//evil.example/x onerror=hit=1>'\"><svg onload=hit=1>{{7*7}}"
# Elements that are none of ours.
FOREIGN = "img, iframe, [onload], [onerror], script:not([src^='/static/'])"
IN_TOML = MARKUP.replace('"', '\\"')

SETTINGS = """
[service]
folder = "data"
commit_interval = "0 s"
[mqtt]
port = {broker}
takes_requests = true
[page]
listen = "127.0.0.1:{page}"
password_file = "page.password"
[tanks.reef]
title = "{markup}"
equipment = ["heater"]
[tanks.reef.series.floor_contact]
quantity = "contact"
title = "{markup}"
alarm_state = "closed"
[tanks.reef.series.temperature]
quantity = "temperature"
title = "{markup}"
[[boards]]
tank = "reef"
name = "sump"
topic = "boards/status"
[[sources]]
topic = "boards/floor"
format = "number"
tank = "reef"
series = "floor_contact"
[[sources]]
topic = "boards/senml/+"
format = "senml"
tank = "reef"
values = {{ t = "temperature" }}
"""


def until(is_so: Callable[[], bool], process: subprocess.Popen[bytes], log: Path) -> None:
    end = time.monotonic() + 30
    while not is_so():
        assert process.poll() is None, log.read_text()
        assert time.monotonic() < end, log.read_text()
        time.sleep(0.05)


def publish_everything(broker: Mosquitto) -> None:
    request = "brinebell/reef/requests"
    for topic, payload in (
        ("boards/senml/1", json.dumps([{"n": "t", "u": MARKUP, "v": 25}])),
        ("boards/senml/1", json.dumps([{"n": MARKUP, "u": "Cel", "v": 25}])),
        ("boards/senml/1", json.dumps([{"n": "t", "u": "Cel", "vs": MARKUP}])),
        (f"boards/senml/{MARKUP.replace('/', '').replace('#', '')}", MARKUP),
        ("boards/status", MARKUP),
        ("boards/senml/2", json.dumps([{"n": "t", "u": "Cel", "v": 25.0}])),
        (request, json.dumps({"id": MARKUP, "do": "begin_work", "kind": MARKUP, "for": "15 min"})),
        (request, json.dumps({"id": "w", "do": "begin_work", "kind": "feeding_pause", "for": "15 min"})),
        (request, json.dumps({"id": "a", "do": "acknowledge", "series": "floor_contact", "why": MARKUP})),
        (request, MARKUP),
        ("boards/floor", MARKUP),
        ("boards/floor", "closed"),
    ):
        assert broker.publish(topic, payload)


def test_nothing_that_comes_in_runs_in_the_browser_of_the_keeper(tmp_path: Path) -> None:
    port, log = free_port(), tmp_path / "log"
    (tmp_path / "page.password").write_text(f"{CHEAP}\n")
    with mosquitto(tmp_path / "broker") as broker, log.open("wb") as out:
        settings = tmp_path / "brinebell.toml"
        settings.write_text(SETTINGS.format(broker=broker.port, page=port, markup=IN_TOML))
        service = subprocess.Popen(
            [sys.executable, "-m", "collector", "run", "--config", str(settings)],
            stdout=out,
            stderr=out,
            env={**os.environ},
        )
        try:
            with browser(tmp_path / "profile") as driver:
                path = tmp_path / "data" / "brinebell.sqlite"
                until(lambda: "connected to" in log.read_text(), service, log)
                publish_everything(broker)

                def is_open() -> bool:
                    with StoreReader(path) as reader:
                        return bool(reader.incidents())

                until(is_open, service, log)
                show(driver, f"http://127.0.0.1:{port}/", DESK)
                driver.find_element(By.NAME, "password").send_keys(PASSWORD, Keys.ENTER)
                wait_for(driver, lambda one: one.title.startswith("High:") or one.title.startswith("Urgent:"))
                for page in ("/", "/incidents", "/incidents/1", "/series/reef/floor_contact", "/care"):
                    show(driver, f"http://127.0.0.1:{port}{page}", DESK)
                    driver.execute_script(
                        "for (const one of document.querySelectorAll('details')) one.open = true"
                    )
                    shown = driver.find_element(By.TAG_NAME, "main").text
                    assert "<script>hit=1</script>" in shown, page
                    assert "{{7*7}}" in shown, page
                    if page == "/":
                        wait_for(driver, lambda one: one.find_element(By.ID, "live-state").text == "Live.")
                    assert driver.execute_script("return window.hit") is None, page
                    assert (
                        driver.find_elements(By.CSS_SELECTOR, "img, iframe, svg[onload], [onerror]") == []
                    ), page
                    scripts = [
                        one.get_attribute("src") for one in driver.find_elements(By.TAG_NAME, "script")
                    ]
                    assert all(one.startswith(f"http://127.0.0.1:{port}/static/") for one in scripts), page
                    assert requested_hosts(driver) == {f"127.0.0.1:{port}"}, page
                    assert [one for one in driver.get_log("browser") if one["level"] == "SEVERE"] == [], page
                assert "senml" in driver.find_element(By.ID, "messages").find_element(By.XPATH, "..").text
            service.send_signal(signal.SIGTERM)
            assert service.wait(20) == 0, log.read_text()
            assert "Traceback" not in log.read_text()
        finally:
            if service.poll() is None:
                service.kill()
                service.wait(10)
