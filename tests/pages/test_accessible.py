"""Every page by axe-core in a real browser: by day and night, on phone and desk, calm, quiet and at home.

axe-core 4.4 (MPL-2.0) judges by WCAG 2.1 A and AA; it is injected from outside, as the pages let nothing in.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import axe_core_python
import pytest
from selenium.webdriver import Chrome
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from collector.links import Link
from collector.pages import Answers, serve_in_thread
from collector.store import Commit, RequestBox, Store, StoreReader
from rules import Flag, Learning, PlannedWork, WeekProfile
from tests.pages import tank
from tests.pages.conftest import standing_clock
from tests.pages.tank import HOUR, MINUTE, NOW, SECOND
from tests.pages.test_answering import LINKS
from tests.pages.test_browser import PHONE, browser, requested_hosts, show, wait_for
from tests.pages.test_door import PASSWORD, House, Visit
from tests.pages.test_now import Fit
from tests.test_passwords import CHEAP

pytestmark = pytest.mark.browser

DESK = (1280, 900)
ALL = ((PHONE, True), (PHONE, False), (DESK, True), (DESK, False))
OPEN_ALL = "for (const one of document.querySelectorAll('details')) one.open = true"
AXE = (Path(axe_core_python.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
ANSWER = f"/answer/{LINKS.text(Link('sam', 1), NOW)}"
PAGES = (
    "/",
    "/incidents",
    "/incidents/1",
    "/history",
    "/series/reef/temperature?against=day",
    "/what-if/reef/temperature",
    "/care?asked=x",
    ANSWER,
    f"{ANSWER}/work",
    "/nowhere",
)
# What looks otherwise while nothing is wrong.
CALM_PAGES = ("/", "/incidents", "/care")


@pytest.fixture(scope="module")
def driver(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Chrome]:
    with browser(tmp_path_factory.mktemp("profile")) as driver:
        yield driver


def serve(folder: Path, stack: ExitStack, *, is_calm: bool) -> str:
    """Everything that a page can show: a band and none, work and none, an incident, calibrations, a doubt."""
    configuration = tank.configuration(folder)
    path = configuration.store.path
    store = stack.enter_context(Store(path))
    store.register(configuration.series)
    tank.fill(
        store, configuration, hours=50, every_us=10 * MINUTE, value=tank.usual if is_calm else tank.cooling
    )
    if not is_calm:
        tank.raise_heater_incident(store, path)
        works = [
            PlannedWork("reef", "water_change", NOW - HOUR, NOW + HOUR),
            PlannedWork("reef", "probe_cleaning", NOW + 9 * HOUR, NOW + 10 * HOUR),
        ]
        store.commit(Commit(NOW, NOW, planned_work=works))
        tank.commit(store, tank.row(1, NOW - SECOND, 8.0, flag=Flag.SUSPECT))
        tank.set_board(store, "sump", is_online=False, since_us=NOW - HOUR)
    profile = WeekProfile("Europe/Madrid", ((25.4,) * 96,), (0.2,) * 96, 0.993, "day", 0.4, 28, NOW)
    usual = {0: Fit(profile), 1: Fit(Learning(2))}
    server = serve_in_thread(
        configuration,
        lambda: StoreReader(path),
        standing_clock(),
        usual=lambda: usual,
        answers=Answers(LINKS, lambda: RequestBox(path)),
        messages=lambda: (),
    )
    stack.enter_context(server)
    return server.address


def emulate(driver: Chrome, size: tuple[int, int], *, is_dark: bool) -> None:
    """Let the page that is shown have another size and scheme."""
    metrics = {"width": size[0], "height": size[1], "deviceScaleFactor": 1, "mobile": size is PHONE}
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
    scheme = {"name": "prefers-color-scheme", "value": "dark" if is_dark else "light"}
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [scheme]})


WHOLE = "{runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'best-practice']}"
CONTRAST = "{runOnly: {type: 'rule', values: ['color-contrast']}}"


def serious(driver: Chrome, options: str = WHOLE) -> list[str]:
    """What axe finds serious or critical on the page that is shown."""
    if not driver.execute_script("return Boolean(window.axe)"):
        driver.execute_script(AXE)
    found: dict[str, Any] = driver.execute_async_script(
        f"const done = arguments[0]; axe.run({options}).then(done);"
    )
    assert found["passes"], "it has judged nothing"
    return [
        f"{one['id']} ({one['impact']}): {one['nodes'][0]['html'][:200]}"
        for one in found["violations"]
        if one["impact"] in ("serious", "critical")
    ]


def check(driver: Chrome, address: str) -> None:
    """All of it on a phone at night; of the other three what hangs on width and colours."""
    show(driver, address, PHONE, is_dark=True)
    driver.execute_script(OPEN_ALL)
    assert serious(driver) == [], address
    for size, is_dark in ALL:
        emulate(driver, size, is_dark=is_dark)
        assert serious(driver, CONTRAST) == [], (address, size, is_dark)
        assert driver.execute_script("return document.documentElement.scrollWidth") <= size[0], address
    assert requested_hosts(driver) == {urlsplit(address).netloc}
    errors = [one["message"] for one in driver.get_log("browser") if one["level"] == "SEVERE"]
    assert [one for one in errors if "404" not in one] == [], address


@pytest.mark.parametrize("is_calm", [False, True], ids=["night", "calm"])
@pytest.mark.long
def test_no_page_has_a_serious_fault_by_day_or_night_on_phone_or_desk(
    driver: Chrome, tmp_path: Path, is_calm: bool
) -> None:
    with ExitStack() as stack:
        address = serve(tmp_path, stack, is_calm=is_calm)
        for path in CALM_PAGES if is_calm else PAGES:
            check(driver, f"{address}{path}")


def test_axe_finds_what_is_wrong_where_something_is(driver: Chrome, tmp_path: Path) -> None:
    """The check itself can fail: a button without a name, text that cannot be read."""
    with ExitStack() as stack:
        show(driver, serve(tmp_path, stack, is_calm=True))
        driver.execute_script(
            "const one = document.createElement('button'); document.querySelector('main').append(one);"
            "document.querySelector('h2').style.color = '#ddd'"
        )
        assert {one.split(" ")[0] for one in serious(driver)} == {"button-name", "color-contrast"}


def test_a_keeper_logs_in_and_out_with_the_keyboard_alone(driver: Chrome, tmp_path: Path) -> None:
    with ExitStack() as stack:
        visit: Visit = House(tmp_path, stack).serve(password_hash=CHEAP)
        show(driver, f"{visit.address}/incidents/1")
        wait_for(driver, lambda one: one.title.startswith("Log in"))
        check(driver, f"{visit.address}/incidents/1")
        active = driver.switch_to.active_element
        assert active.get_attribute("name") == "password"
        active.send_keys("not this one", Keys.ENTER)
        wait_for(
            driver, lambda one: "That is not the password." in one.find_element(By.TAG_NAME, "main").text
        )
        assert serious(driver) == []
        driver.switch_to.active_element.send_keys(PASSWORD, Keys.ENTER)
        wait_for(driver, lambda one: one.title.startswith("Incident 1"))
        assert driver.execute_script("return document.cookie") == ""
        # The first stop leads past the pages' names to the content; each later one can be seen.
        body = driver.find_element(By.TAG_NAME, "body")
        body.send_keys(Keys.TAB)
        assert driver.switch_to.active_element.text == "Skip to content"
        while driver.switch_to.active_element.text != "Log out":
            driver.switch_to.active_element.send_keys(Keys.TAB)
            style = driver.execute_script("return getComputedStyle(document.activeElement).outlineStyle")
            assert style == "solid"
        driver.switch_to.active_element.send_keys(Keys.ENTER)
        wait_for(driver, lambda one: one.title.startswith("Log out"))
        driver.find_element(By.XPATH, "//button[text()='Log out']").send_keys(Keys.ENTER)
        wait_for(driver, lambda one: one.title.startswith("Log in"))
        driver.get(f"{visit.address}/incidents/1")
        assert driver.title.startswith("Log in")


def test_who_wants_no_motion_gets_none(driver: Chrome, tmp_path: Path) -> None:
    with ExitStack() as stack:
        address = serve(tmp_path, stack, is_calm=True)
        for wish, seconds in (("no-preference", {"0.1s", "0s"}), ("reduce", {"0s"})):
            show(driver, address)
            wished = {"name": "prefers-reduced-motion", "value": wish}
            driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [wished]})
            found = driver.execute_script(
                "return [...document.all].map((one) => getComputedStyle(one).transitionDuration)"
            )
            assert set(found) == seconds
