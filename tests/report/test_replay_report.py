"""The report of a replay: one file that shows all there is, fetches nothing, and opens in a browser."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from selenium.webdriver.common.by import By

from collector.annotations import read_annotations
from collector.payloads import state_value
from collector.recordings import Recording, read_files
from collector.replay import Replay, Replayed
from collector.report import report_html
from collector.settings import load_configuration
from collector.units import converter
from rules import score
from tests.pages.test_browser import PHONE, browser, show

DATA = Path(__file__).parents[2] / "replay_data"


def report(name: str, title: str = "a week", *, has_truth: bool = True) -> str:
    configuration = load_configuration(DATA / "tank.toml", {})
    recording = read_files([DATA / name], configuration, converter, state_value)
    replayed = Replay(configuration, answered_after_us=5 * 60_000_000).recording(recording)
    found = None
    if has_truth:
        truth = read_annotations(DATA / name / f"{name}.annotations.toml", configuration)
        found = score(truth, replayed.opened, replayed.incidents, replayed.first_us, replayed.last_us)
    return report_html(title, recording, replayed, configuration, ("what was learned",), found)


class Links(HTMLParser):
    """Everything that a browser would fetch or run."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in ("script", "link", "img", "iframe", "object"):
            self.found.append(tag)
        self.found += [name for name, value in attrs if name in ("src", "href") and value != "#content"]


def test_nothing_is_fetched_and_no_script_runs():
    text = report("leak")
    links = Links()
    links.feed(text)
    assert links.found == []
    assert not re.search(r"url\(|@import|https?://", text)


def test_what_rang_and_what_truly_happened_stand_in_it():
    text = re.sub(r"\s+", " ", report("leak"))
    assert "1 incident, 1 ring, none of them at night." in text.replace("\N{NO-BREAK SPACE}", " ")
    assert "incident 1 after 1 h 15 min" in text
    assert "0 false alarms in 6.5 days without a cause." in text
    assert "whoever is on duty at 2026-03-07 14:15" in text
    assert text.count('<svg class="chart"') == 5
    # The leak shows in three series; each has its beginning and its alarm.
    assert text.count("it began, alarm 1") == 3


def test_a_quiet_week_says_so():
    assert "Nothing would have rung." in report("quiet", has_truth=False)
    assert "Against what truly happened" not in report("quiet", has_truth=False)


def test_what_a_file_is_called_cannot_become_markup():
    assert "<b>" not in report("quiet", "<b>week</b>.csv", has_truth=False)


def test_a_recording_of_nothing_is_a_page_too():
    import numpy as np

    configuration = load_configuration(DATA / "tank.toml", {})
    empty = Recording(np.empty(0, np.int64), np.empty(0), np.empty(0, np.int64))
    nothing = Replayed(0, 0, (), (), (), ())
    assert "Nothing would have rung." in report_html("nothing", empty, nothing, configuration, (), None)


@pytest.mark.browser
def test_it_opens_from_a_file_on_a_phone(tmp_path):
    path = tmp_path / "report.html"
    path.write_text(report("top_off_overdose", "A week"), encoding="utf-8")
    with browser(tmp_path) as driver:
        show(driver, path.as_uri())
        assert driver.find_element(By.TAG_NAME, "h1").text == "What would have rung: A week"
        assert len(driver.find_elements(By.CSS_SELECTOR, "svg.chart")) == 5
        # Nothing is wider than the phone.
        assert driver.execute_script("return document.documentElement.scrollWidth") <= PHONE[0]
