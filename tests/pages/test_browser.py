"""The pages in a real browser: live rows, no errors, no other host, a phone's width, light and dark."""

from __future__ import annotations

import base64
import json
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from selenium.common.exceptions import StaleElementReferenceException
from selenium.webdriver import Chrome, ChromeOptions
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import Select, WebDriverWait

from collector.alarm_requests import Acknowledge
from collector.configuration import Configuration
from collector.links import Link, Links
from collector.pages import Answers, PagesServer, serve_in_thread
from collector.requests import BeginWork, Request
from collector.store import Commit, RequestBox, Store, StoreReader
from tests.pages import tank
from tests.pages.conftest import Serve, standing_clock
from tests.pages.tank import MINUTE, NOW, SECOND

pytestmark = pytest.mark.browser

PHONE, DESK = (390, 844), (1280, 800)
PATHS = (
    "/",
    "/incidents",
    "/incidents/1",
    "/series/reef/temperature",
    "/series/reef/ph?hours=168&against=week",
    "/history",
    "/nowhere",
)
WAIT_S = 10

# Contrast by the formulas of WCAG 2.2 (relative luminance, contrast ratio), for all text that is shown.
# Text of SVG takes its colour from `fill`.
CONTRASTS = """
const number = (text) => (text.match(/[\\d.]+/g) || []).map(Number);
const light = ([r, g, b]) => [r, g, b].map((c) => c / 255)
  .map((c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4))
  .reduce((sum, c, i) => sum + c * [0.2126, 0.7152, 0.0722][i], 0);
const behind = (element) => {
  for (let one = element; one; one = one.parentElement) {
    const colour = number(getComputedStyle(one).backgroundColor);
    if (colour.length === 3 || colour[3] === 1) return colour;
  }
  return [255, 255, 255];
};
const found = [];
for (const element of document.body.querySelectorAll("*")) {
  const text = [...element.childNodes].filter((n) => n.nodeType === 3).map((n) => n.data.trim()).join("");
  if (!text || !element.getClientRects().length) continue;
  const style = getComputedStyle(element);
  const [a, b] = [light(number(element.closest("svg") ? style.fill : style.color)), light(behind(element))];
  found.push([text, (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05)]);
}
return found;
"""


@contextmanager
def browser(folder: Path, *, has_scripts: bool = True) -> Iterator[Chrome]:
    """A browser with a profile of its own."""
    for program in ("chromium", "chromedriver"):
        if shutil.which(program) is None:
            pytest.skip(f"skipped: {program} is not installed")
    options = ChromeOptions()
    options.binary_location = str(shutil.which("chromium"))
    for argument in (
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--no-first-run",
        f"--user-data-dir={folder}",
    ):
        options.add_argument(argument)
    if not has_scripts:
        options.add_experimental_option("prefs", {"profile.managed_default_content_settings.javascript": 2})
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = Chrome(
        options=options, service=Service(str(shutil.which("chromedriver")), log_output=os.devnull)
    )
    try:
        yield driver
    finally:
        driver.quit()


@pytest.fixture(scope="module")
def driver(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Chrome]:
    with browser(tmp_path_factory.mktemp("profile")) as driver:
        yield driver


@pytest.fixture
def server(store: Store, configuration: Configuration, serve: Serve) -> PagesServer:
    """The night of the heater, except for its last ten seconds."""
    tank.fill(store, configuration, value=tank.cooling, end_us=NOW - 10 * SECOND)
    tank.raise_heater_incident(store, configuration.store.path)
    tank.set_board(store, "sump", is_online=True, since_us=NOW - 50 * 60 * MINUTE)
    return serve(configuration)


def show(driver: Chrome, address: str, size: tuple[int, int] = PHONE, *, is_dark: bool = False) -> None:
    """Open a page, with what was logged before forgotten."""
    for kind in ("browser", "performance"):
        driver.get_log(kind)
    driver.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": size[0], "height": size[1], "deviceScaleFactor": 1, "mobile": size is PHONE},
    )
    scheme = {"name": "prefers-color-scheme", "value": "dark" if is_dark else "light"}
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [scheme]})
    driver.get(address)


def requested_hosts(driver: Chrome) -> set[str]:
    """Hosts of every request since `show`."""
    hosts = set()
    for entry in driver.get_log("performance"):
        message: dict[str, Any] = json.loads(entry["message"])["message"]
        if message["method"] in ("Network.requestWillBeSent", "Network.webSocketCreated"):
            parameters = message["params"]
            parts = urlsplit(parameters["request"]["url"] if "request" in parameters else parameters["url"])
            # What is within the page or the browser itself goes to nobody.
            if parts.scheme not in ("data", "chrome"):
                hosts.add(parts.netloc)
    return hosts


def wait_for(driver: Chrome, what: Any) -> Any:
    """Wait until something holds; an element that is replaced while it is read is read again."""
    replaced = (StaleElementReferenceException,)
    return WebDriverWait(driver, WAIT_S, poll_frequency=0.05, ignored_exceptions=replaced).until(what)


def text_of(driver: Chrome, key: str) -> str:
    return driver.find_element(By.CSS_SELECTOR, f'[data-key="{key}"]').text.replace("\N{NO-BREAK SPACE}", " ")


def test_row_changes_when_a_reading_is_stored(driver: Chrome, server: PagesServer, store: Store) -> None:
    show(driver, server.address)
    assert text_of(driver, "reef/temperature:value") == "24.6 °C"
    wait_for(driver, lambda one: one.find_element(By.ID, "live-state").text == "Live.")
    driver.execute_script("window.isTheSame = true")
    tank.commit(store, tank.row(0, NOW, 23.4))
    wait_for(driver, lambda one: text_of(one, "reef/temperature:value") == "23.4 °C")
    assert text_of(driver, "sentence") == "Urgent: heater failed off, 23.4 °C falling, danger about 05:10"
    assert driver.title.replace("\N{NO-BREAK SPACE}", " ").startswith("Urgent: heater failed off, 23.4 °C")
    assert driver.execute_script("return window.isTheSame"), "the page was loaded anew"


def test_first_reading_of_a_series_makes_its_row_whole(
    driver: Chrome, store: Store, configuration: Configuration, serve: Serve
) -> None:
    show(driver, serve(configuration).address)
    assert text_of(driver, "sentence") == "No readings yet: nothing is watched"
    assert text_of(driver, "reef/ph:value") == "no reading yet"
    wait_for(driver, lambda one: one.find_element(By.ID, "live-state").text == "Live.")
    tank.commit(store, tank.row(1, NOW, 8.21))
    wait_for(driver, lambda one: one.find_elements(By.CSS_SELECTOR, '[data-path="reef/ph:line"]'))
    assert text_of(driver, "reef/ph:value") == "8.21"


def test_incident_appears_without_a_hand(
    driver: Chrome, store: Store, configuration: Configuration, serve: Serve
) -> None:
    tank.fill(store, configuration, hours=2)
    show(driver, serve(configuration).address)
    wait_for(driver, lambda one: one.find_element(By.ID, "live-state").text == "Live.")
    assert text_of(driver, "sentence") == "All quiet, no incident so far"
    store.commit(Commit(NOW, NOW, incidents=[tank.heater_incident()]))
    wait_for(driver, lambda one: one.find_elements(By.CSS_SELECTOR, "p.told"))
    assert text_of(driver, "sentence").startswith("Urgent: heater failed off, ")
    driver.find_element(By.CSS_SELECTOR, "h1 a").click()
    wait_for(driver, lambda one: one.title.startswith("Incident 1: Heater failed"))


def test_page_says_when_it_is_not_live_any_more(driver: Chrome, server: PagesServer) -> None:
    show(driver, server.address)
    wait_for(driver, lambda one: one.find_element(By.ID, "live-state").text == "Live.")
    server.close()
    wait_for(driver, lambda one: one.find_element(By.ID, "live-state").text.startswith("Connection lost"))
    state, table = (driver.find_element(By.CSS_SELECTOR, one) for one in ("#live-state", "table"))
    assert state.location["y"] < table.location["y"], "it must stand beside the sentence"
    assert state.value_of_css_property("font-weight") == "700"


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
@pytest.mark.parametrize("is_dark", [False, True], ids=["light", "dark"])
def test_every_page_is_readable_and_keeps_to_itself(
    driver: Chrome, server: PagesServer, size: tuple[int, int], is_dark: bool
) -> None:
    """No error, no other host, nothing wider than the screen, contrast AA (WCAG 2.2, 1.4.3: 4.5 to 1)."""
    for path in PATHS:
        show(driver, f"{server.address}{path}", size, is_dark=is_dark)
        errors = [one["message"] for one in driver.get_log("browser")]
        assert [one for one in errors if not (path == "/nowhere" and " 404 " in one)] == [], path
        assert requested_hosts(driver) == {urlsplit(server.address).netloc}, path
        assert driver.execute_script("return document.documentElement.scrollWidth") <= size[0], path
        contrasts = driver.execute_script(CONTRASTS)
        assert len(contrasts) > 5, path
        assert [one for one in contrasts if one[1] < 4.5] == [], path
        background = driver.execute_script("return getComputedStyle(document.body).backgroundColor")
        assert (sum(map(int, background[4:-1].split(", "))) < 3 * 128) is is_dark


def test_targets_of_a_finger_are_large(driver: Chrome, server: PagesServer) -> None:
    """44 CSS pixels (WCAG 2.2, 2.5.5), except for links within a sentence."""
    for path in PATHS:
        show(driver, f"{server.address}{path}")
        sizes = driver.execute_script(
            "return [...document.querySelectorAll('a:not(.skip), summary')]"
            ".filter((one) => !one.closest('p, h1') || one.matches('.more'))"
            ".map((one) => [one.textContent, one.getBoundingClientRect().height])"
        )
        assert sizes
        assert [one for one in sizes if one[1] < 44] == [], path


def test_table_is_a_table_to_a_screen_reader_also_on_a_phone(driver: Chrome, server: PagesServer) -> None:
    show(driver, server.address)
    driver.execute_cdp_cmd("Accessibility.enable", {})
    nodes = driver.execute_cdp_cmd("Accessibility.getFullAXTree", {})["nodes"]
    driver.execute_cdp_cmd("Accessibility.disable", {})
    roles = [node["role"]["value"] for node in nodes if not node.get("ignored")]
    # Beside the series the one piece of equipment.
    assert roles.count("table") == 2
    assert roles.count("columnheader") == 7
    assert roles.count("rowheader") == len(tank.SERIES) + 1
    assert roles.count("cell") == 6 * len(tank.SERIES) + 1


def test_keyboard_reaches_the_content_first_and_every_series(driver: Chrome, server: PagesServer) -> None:
    show(driver, server.address, DESK)
    reached = []
    for _ in range(20):
        driver.switch_to.active_element.send_keys(Keys.TAB)
        reached.append(driver.switch_to.active_element.text)
    assert reached[0] == "Skip to content"
    for _, _, title in tank.SERIES:
        assert title in reached


def test_nothing_moves_for_who_asks_for_that(driver: Chrome, server: PagesServer) -> None:
    show(driver, server.address)
    still = {"name": "prefers-reduced-motion", "value": "reduce"}
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [still]})
    durations = driver.execute_script(
        "return [...document.querySelectorAll('*')].map((one) => getComputedStyle(one))"
        ".flatMap((style) => [style.transitionDuration, style.animationDuration])"
    )
    assert set(durations) == {"0s"}


def test_page_works_without_scripts_and_reloads_itself(server: PagesServer, tmp_path: Path) -> None:
    with browser(tmp_path / "profile", has_scripts=False) as plain:
        show(plain, server.address, DESK)
        assert text_of(plain, "sentence").startswith("Urgent: heater failed off, 24.6 °C")
        assert len(plain.find_elements(By.CSS_SELECTOR, ".now tbody tr")) == len(tank.SERIES)
        assert plain.find_element(By.ID, "live-state").text == "As of then; reload for news."
        (refresh,) = plain.find_elements(By.CSS_SELECTOR, 'meta[http-equiv="refresh"]')
        assert refresh.get_attribute("content") == "30"
        plain.get(f"{server.address}/incidents/1")
        assert plain.find_elements(By.CSS_SELECTOR, "svg.chart path.line")


def test_picture_of_the_night_is_not_empty(driver: Chrome, server: PagesServer) -> None:
    """The lines are drawn: their colour is in the picture of the page."""
    show(driver, f"{server.address}/incidents/1", DESK)
    boxes = driver.execute_script(
        "return [...document.querySelectorAll('svg.chart path.line')].map((one) => {"
        "const box = one.getBoundingClientRect(); return [box.width, box.height]; })"
    )
    assert boxes
    # What lies ahead takes the right half: up to when the danger line is projected at the latest.
    assert all(width > 400 and height > 50 for width, height in boxes)
    assert len(base64.b64decode(driver.get_screenshot_as_base64())) > 10_000


LINKS = Links(bytes(32), "")


@contextmanager
def answering(configuration: Configuration) -> Iterator[PagesServer]:
    """Pages that take answers. The loop of the service is not here: what is asked waits in the store."""
    path = configuration.store.path
    answers = Answers(LINKS, lambda: RequestBox(path))
    with serve_in_thread(
        configuration, lambda: StoreReader(path), standing_clock(), answers=answers
    ) as server:
        yield server


def asked(phone: Chrome, configuration: Configuration) -> Request:
    """What was asked, when the page says that it is written down."""
    waiting = WebDriverWait(phone, WAIT_S, ignored_exceptions=[StaleElementReferenceException])
    waiting.until(lambda _: "Written down." in phone.find_element(By.TAG_NAME, "main").text)
    with StoreReader(configuration.store.path) as reader:
        (request,) = reader.waiting_requests()
    return request


@pytest.mark.parametrize("has_scripts", [True, False], ids=["scripts", "no scripts"])
def test_a_link_is_answered_by_a_tap_and_a_confirmation_on_a_phone(
    tmp_path: Path, store: Store, configuration: Configuration, has_scripts: bool
) -> None:
    tank.raise_heater_incident(store, configuration.store.path)
    with (
        answering(configuration) as server,
        browser(tmp_path / "profile", has_scripts=has_scripts) as phone,
    ):
        show(phone, f"{server.address}{LINKS.address(Link('sam', 1), NOW)}")
        # WCAG 2.2, success criterion 2.5.5: 44 CSS pixels.
        for one in phone.find_elements(By.CSS_SELECTOR, "button, .button, nav a, select"):
            assert one.size["height"] >= 44
        phone.find_element(By.LINK_TEXT, "Acknowledge").click()
        with StoreReader(configuration.store.path) as reader:
            assert reader.waiting_requests() == ()
        phone.find_element(By.XPATH, "//button[text()='Yes, I see to it']").click()
        request = asked(phone, configuration)
        assert (request.who, request.asked) == ("sam", Acknowledge("", 1))
        messages = [entry["message"] for entry in phone.get_log("browser")]
        assert [one for one in messages if "Content Security Policy" in one] == []


@pytest.mark.parametrize("is_dark", [False, True], ids=["light", "dark"])
def test_answers_can_be_read_by_day_and_night(
    tmp_path: Path, store: Store, configuration: Configuration, driver: Chrome, is_dark: bool
) -> None:
    tank.raise_heater_incident(store, configuration.store.path)
    with answering(configuration) as server:
        address = f"{server.address}{LINKS.address(Link('sam', 1), NOW)}"
        for page in (address, f"{address}/work", f"{address}/acknowledge", server.address):
            show(driver, page, is_dark=is_dark)
            if page == server.address:
                driver.find_element(By.XPATH, "//summary[text()='I am working on the tank']").click()
            assert driver.execute_script("return document.documentElement.scrollWidth") <= PHONE[0]
            for text, contrast in driver.execute_script(CONTRASTS):
                assert contrast >= 4.5, text


def test_work_is_begun_on_the_page_that_shows_now(
    tmp_path: Path, store: Store, configuration: Configuration
) -> None:
    with answering(configuration) as server, browser(tmp_path / "profile") as phone:
        show(phone, server.address)
        phone.find_element(By.XPATH, "//summary[text()='I am working on the tank']").click()
        Select(phone.find_element(By.NAME, "kind")).select_by_visible_text("Water change")
        phone.find_element(By.XPATH, "//button[text()='I begin now']").click()
        work = BeginWork("reef", "water_change", NOW, NOW + 45 * MINUTE)
        assert asked(phone, configuration).asked == work
