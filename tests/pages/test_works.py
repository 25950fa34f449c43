"""Planned work on the page that shows now: what goes on, what is next, and what is suppressed by design."""

from __future__ import annotations

import re

import httpx

from collector.configuration import Configuration
from collector.pages import serve_in_thread
from collector.store import Commit, Store, StoreReader
from rules import AlarmKey, PlannedWork, Suppressed
from tests.pages.conftest import standing_clock
from tests.pages.tank import HOUR, NOW


def test_planned_work_is_told_until_its_water_has_settled(pages: httpx.Client, store: Store) -> None:
    over = PlannedWork("reef", "feeding_pause", NOW - 2 * HOUR, NOW - HOUR)
    settling = PlannedWork("reef", "calibration", NOW - HOUR, NOW - HOUR // 4)
    on = PlannedWork("reef", "water_change", NOW - HOUR // 2, NOW + HOUR // 4)
    ahead = PlannedWork("reef", "probe_cleaning", NOW + 9 * HOUR, NOW + 10 * HOUR)
    quiet_before = pages.get("/").text
    assert "Planned work" not in quiet_before
    later = PlannedWork("reef", "feeding_pause", NOW + 11 * HOUR, NOW + 12 * HOUR)
    store.commit(Commit(NOW, NOW, planned_work=[over, settling, on, ahead, later]))
    page = pages.get("/").text
    text = " ".join(re.sub(r"<[^>]+>", "", page).replace("\u00a0", " ").split())
    assert (
        "Planned work. Calibration: over since 02:30; what it disturbs rings again from 03:00. "
        "Planned work. Water change: goes on until 03:00. What it disturbs does not ring until 04:00; "
        "dangers do. "
        "Planned work. Probe cleaning: from 11:45 until 12:45."
    ) in text
    assert "Feeding pause" not in text
    shapes = [re.search(r'data-shape="(\w+)"', one)[1] for one in (quiet_before, page)]
    assert shapes[0] != shapes[1]
    (reef,) = pages.get("/now.json").json()["tanks"]
    assert [one["kind"] for one in reef["planned_work"]] == ["calibration", "water_change", "probe_cleaning"]
    assert reef["planned_work"][1] == {
        "kind": "water_change",
        "from": "2026-03-07T01:15:00.000000Z",
        "to": "2026-03-07T02:00:00.000000Z",
        "settled": "2026-03-07T03:00:00.000000Z",
    }


def test_what_planned_work_suppresses_is_listed(store: Store, configuration: Configuration) -> None:
    on = PlannedWork("reef", "probe_cleaning", NOW - HOUR // 2, NOW + HOUR // 4)
    store.commit(Commit(NOW, NOW, planned_work=[on]))
    hidden = [
        Suppressed(AlarmKey("reef", "temperature", "probe_out_of_range"), NOW - HOUR // 3, NOW, NOW + HOUR),
        # Of works that are long over, and of a tank that is not configured any more.
        Suppressed(AlarmKey("reef", "temperature", "leak"), NOW - 9 * HOUR, NOW - 8 * HOUR, NOW - 7 * HOUR),
        Suppressed(AlarmKey("pond", "temperature", "leak"), NOW - HOUR // 3, NOW, NOW + HOUR),
    ]
    path = configuration.store.path
    with serve_in_thread(
        configuration, lambda: StoreReader(path), standing_clock(), suppressed=lambda: hidden
    ) as server:
        page = httpx.get(server.address, trust_env=False).text.replace("\u00a0", " ")
    (told,) = re.findall(r"Suppressed by design: [^<]*", page)
    assert told == "Suppressed by design: probe off scale (Display temperature) since 02:25."
