"""An incident in a real browser, on a phone and on a desk: read, zoomed, judged, and written beside."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from selenium.webdriver import ActionChains, Chrome
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webelement import WebElement
from selenium.webdriver.support.ui import WebDriverWait

from collector.links import Links
from collector.pages import Answers, PagesServer, serve_in_thread
from collector.reviews import AddNote, GiveVerdict
from collector.store import RequestBox, Store, StoreReader
from tests.pages import tank
from tests.pages.conftest import standing_clock
from tests.pages.tank import MINUTE, NOW
from tests.pages.test_browser import CONTRASTS, DESK, PHONE, WAIT_S, browser, requested_hosts, show, wait_for
from tests.pages.test_story import do_what_is_asked

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    configuration = tank.configuration(tmp_path_factory.mktemp("night") / "store")
    with Store(configuration.store.path) as store:
        store.register(configuration.series)
        tank.fill(store, configuration, value=tank.cooling, every_us=2 * MINUTE)
        tank.raise_heater_incident(store, configuration.store.path)
        yield store


@pytest.fixture(scope="module")
def server(store: Store) -> Iterator[PagesServer]:
    configuration = tank.configuration(store.path.parent)
    answers = Answers(Links(bytes(32), ""), lambda: RequestBox(store.path))
    clock = standing_clock()
    with serve_in_thread(configuration, lambda: StoreReader(store.path), clock, answers=answers) as server:
        yield server


@pytest.fixture(scope="module")
def driver(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Chrome]:
    with browser(tmp_path_factory.mktemp("profile")) as driver:
        # The browser's own first page is over with before anything is counted.
        driver.get("about:blank")
        yield driver


# Words of the first chart, as boxes on the screen without their empty edges, that hold a point of the line or
# lie over other words.
MEETINGS = """
const chart = document.querySelector(".chart");
const line = chart.querySelector(".line");
const plot = chart.querySelector(".plot").getBoundingClientRect();
const points = [...Array(3000).keys()].map((at) => {
  const point = line.getPointAtLength(line.getTotalLength() * at / 3000);
  return [plot.left + point.x / 1000 * plot.width, plot.top + point.y / 1000 * plot.height];
});
const words = [...chart.querySelectorAll("text")].map((one) => {
  const box = one.getBoundingClientRect();
  return [one.textContent, box.left, box.right, box.top + 2, box.bottom - 2];
});
const found = [];
for (const [text, left, right, top, bottom] of words) {
  if (points.some(([x, y]) => x > left && x < right && y > top && y < bottom)) {
    found.push(`${text} over the line`);
  }
  for (const [other, ...box] of words) {
    if (text < other && left < box[1] && box[0] < right && top < box[3] && box[2] < bottom) {
      found.push(`${text} over ${other}`);
    }
  }
}
return found;
"""


def span_of(driver: Chrome) -> str:
    """In one step: the script may put another one there meanwhile."""
    return driver.execute_script("return document.querySelector('.as-of').textContent")


def area_of(driver: Chrome) -> WebElement:
    return driver.find_element(By.CSS_SELECTOR, ".zoom")


def expect_span(driver: Chrome, words: str) -> None:
    wait_for(driver, lambda one: span_of(one) == words)


def errors_of(driver: Chrome) -> list[str]:
    return [one["message"] for one in driver.get_log("browser")]


WHOLE = "Fri 6 Mar 2026, 23:00 to Sat 7 Mar 2026, 06:10"


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
@pytest.mark.parametrize("is_dark", [False, True], ids=["light", "dark"])
def test_it_is_read_without_a_scroll_to_the_side(
    driver: Chrome, server: PagesServer, size: tuple[int, int], is_dark: bool
) -> None:
    """Contrast AA (WCAG 2.2, 1.4.3), fingers' targets (2.5.5), no error, no other host."""
    show(driver, f"{server.address}/incidents/1", size, is_dark=is_dark)
    assert driver.execute_script("return document.documentElement.scrollWidth") <= size[0]
    assert [one for one in driver.execute_script(CONTRASTS) if one[1] < 4.5] == []
    for one in driver.find_elements(By.CSS_SELECTOR, "button, select, textarea, .moves a, .exports a"):
        assert one.size["height"] >= 44 or not one.is_displayed(), one.text
    assert errors_of(driver) == []
    assert requested_hosts(driver) == {urlsplit(server.address).netloc}


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_no_words_of_a_chart_lie_over_its_line_or_over_each_other(
    driver: Chrome, server: PagesServer, size: tuple[int, int]
) -> None:
    show(driver, f"{server.address}/incidents/1", size)
    meetings = driver.execute_script(MEETINGS)
    assert meetings == []


def test_charts_are_zoomed_by_hand_by_keys_and_by_links(driver: Chrome, server: PagesServer) -> None:
    show(driver, f"{server.address}/incidents/1", DESK)
    driver.execute_script("window.isTheSame = true")
    expect_span(driver, WHOLE)
    frame = driver.find_element(By.CSS_SELECTOR, ".chart .frame")
    width = driver.execute_script("return arguments[0].getBoundingClientRect().width", frame)
    # The middle half of the chart, from the left quarter to the right one.
    quarter = round(width / 4)
    drag = ActionChains(driver).move_to_element_with_offset(frame, -quarter, 0).click_and_hold()
    drag.move_by_offset(quarter, 0).move_by_offset(quarter, 0).release().perform()
    wait_for(driver, lambda one: one.execute_script("return location.search").startswith("?from="))
    wait_for(driver, lambda one: not span_of(one).startswith("Fri 6 Mar 2026, 23:00"))
    start, end = (int(area_of(driver).get_attribute(f"data-{one}")) / 60_000 for one in ("start", "end"))
    # Of 430 minutes from 23:00 on, to within the pixels of a hand.
    assert start == pytest.approx((NOW / MINUTE) - 225 + 430 / 4, abs=2)
    assert end == pytest.approx((NOW / MINUTE) - 225 + 3 * 430 / 4, abs=2)
    area_of(driver).send_keys("0")
    expect_span(driver, WHOLE)
    driver.find_element(By.LINK_TEXT, "Zoom in").click()
    wait_for(driver, lambda one: span_of(one) != WHOLE)
    inner = span_of(driver)
    assert driver.switch_to.active_element.text == "Zoom in", "the focus stays where it was"
    area_of(driver).send_keys("-")
    wait_for(driver, lambda one: span_of(one) != inner)
    area_of(driver).send_keys(Keys.ARROW_LEFT)
    wait_for(driver, lambda one: span_of(one).startswith("Fri 6 Mar 2026, 21:1"))
    assert driver.execute_script("return window.isTheSame"), "the page was loaded anew"
    assert errors_of(driver) == []
    assert requested_hosts(driver) == {urlsplit(server.address).netloc}


def test_charts_are_pinched_on_a_phone(driver: Chrome, server: PagesServer) -> None:
    show(driver, f"{server.address}/incidents/1", PHONE)
    expect_span(driver, WHOLE)
    driver.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": True, "maxTouchPoints": 2})
    chart = driver.find_element(By.CSS_SELECTOR, ".chart")
    driver.execute_script("arguments[0].scrollIntoView({block: 'center'})", chart)
    box = driver.execute_script(
        "return arguments[0].querySelector('.frame').getBoundingClientRect().toJSON()", chart
    )
    y, middle = box["y"] + box["height"] / 2, box["x"] + box["width"] / 2

    def touch(kind: str, apart: float) -> None:
        points = (
            []
            if kind == "touchEnd"
            else [{"x": middle + side * apart, "y": y, "id": number} for number, side in enumerate((-1, 1))]
        )
        driver.execute_cdp_cmd("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    touch("touchStart", 30)
    for apart in (40, 60, 90, 120):
        touch("touchMove", apart)
    touch("touchEnd", 120)
    wait_for(driver, lambda one: span_of(one) != WHOLE)
    driver.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": False})
    # Four times as far apart: a quarter of the time, about the middle.
    start, end = (int(area_of(driver).get_attribute(f"data-{one}")) / 60_000 for one in ("start", "end"))
    assert end - start == pytest.approx(430 / 4, abs=3)
    assert (start + end) / 2 == pytest.approx((NOW / MINUTE) - 225 + 430 / 2, abs=3)
    assert errors_of(driver) == []


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_verdict_and_note_are_given_with_a_tap(
    driver: Chrome, server: PagesServer, store: Store, size: tuple[int, int]
) -> None:
    show(driver, f"{server.address}/incidents/1", size)
    assert tapped(driver, store, "Real") == [("the page", GiveVerdict(1, "real"))]
    assert (
        driver.find_element(By.CSS_SELECTOR, "[role=status]").text
        == "Kept: it was so, and the ring was right."
    )
    note = driver.find_element(By.ID, "note")
    note.send_keys("The plug was loose.")
    assert tapped(driver, store, "Keep the note") == [("the page", AddNote(1, "The plug was loose."))]
    assert driver.find_element(By.CSS_SELECTOR, "[role=status]").text == "Noted."
    pressed = driver.find_element(By.CSS_SELECTOR, "[aria-pressed=true]")
    assert pressed.text == "Real"
    assert "The plug was loose.\nby the page" in driver.find_element(By.CSS_SELECTOR, ".happened").text
    assert errors_of(driver) == []


def tapped(driver: Chrome, store: Store, button: str) -> list[tuple[str, object]]:
    """Tap a button, do what it asks for, and wait for the page that says so; return what was asked."""
    driver.execute_script("window.isOld = true")
    found = driver.find_element(By.XPATH, f"//button[text()='{button}']")
    # The driver would wait with us for an answer that nobody gives.
    driver.execute_script("setTimeout(() => arguments[0].click(), 0)", found)
    asked = WebDriverWait(driver, WAIT_S, poll_frequency=0.05).until(lambda _: do_what_is_asked(store))
    wait_for(
        driver, lambda one: one.execute_script("return !window.isOld && document.readyState === 'complete'")
    )
    # On a slow disk the page may have come before the answer was durable, and says so.
    driver.refresh()
    return asked


def test_everything_is_there_without_scripts(server: PagesServer, tmp_path: Path) -> None:
    with browser(tmp_path / "profile", has_scripts=False) as plain:
        show(plain, f"{server.address}/incidents/1", PHONE)
        assert plain.find_elements(By.CSS_SELECTOR, "svg.chart path.line")
        plain.find_element(By.LINK_TEXT, "Zoom in").click()
        wait_for(plain, lambda one: "from=" in one.current_url)
        assert plain.find_element(By.LINK_TEXT, "All of it")
        show(plain, f"{server.address}/incidents", PHONE)
        plain.find_element(By.TAG_NAME, "summary").click()
        plain.find_element(By.CSS_SELECTOR, "select[name=priority] option[value=urgent]").click()
        plain.find_element(By.XPATH, "//button[text()='Look']").click()
        wait_for(plain, lambda one: "priority=urgent" in one.current_url)
        assert plain.find_elements(By.LINK_TEXT, "Heater failed off")


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_a_slider_shows_which_alarms_appear_while_it_is_moved(
    driver: Chrome, server: PagesServer, size: tuple[int, int]
) -> None:
    show(driver, f"{server.address}/what-if/reef/temperature", size)
    sentence = "return document.querySelector('.sentence').textContent"
    assert driver.execute_script(sentence).startswith("0 alarms as it is")
    slider = driver.find_element(By.CSS_SELECTOR, "[data-of=alarm_low]")
    # Well above where the water stood before the heater failed.
    slider.send_keys(Keys.END)
    number = driver.find_element(By.NAME, "alarm_low")
    assert number.get_attribute("value") == slider.get_attribute("value")
    wait_for(driver, lambda one: "instead of 0" in one.execute_script(sentence))
    assert "alarm_low=" in driver.current_url
    number.clear()
    number.send_keys("99")
    wait_for(driver, lambda one: "must be below" in one.find_element(By.ID, "timeline").text)
    number.clear()
    number.send_keys("24.9")
    wait_for(driver, lambda one: "1 alarm instead of 0" in one.execute_script(sentence))
    # Keys that came slowly are asked for one by one: only the last answer stays.
    wait_for(driver, lambda one: "alarm_low=24.9" in one.current_url)
    area_of(driver).send_keys("-")
    wait_for(driver, lambda one: "to=" in one.current_url and "alarm_low=24.9" in one.current_url)
    assert driver.execute_script("return document.documentElement.scrollWidth") <= size[0]
    assert [one for one in errors_of(driver) if " 400 " not in one] == []
    assert requested_hosts(driver) == {urlsplit(server.address).netloc}
